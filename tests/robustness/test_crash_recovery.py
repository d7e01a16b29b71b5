"""A desk that is killed loses at most two seconds; crash_recovery.py kills many more."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from tests.robustness.crash_recovery import MOST_LOST_S, kill_once


@pytest.mark.parametrize(("never_saved", "save_every"), [(False, 0), (False, 7), (True, 0)])
def test_a_killed_desk_loses_at_most_two_seconds(
    tmp_path: Path, never_saved: bool, save_every: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LAGLINE_STATE_DIR", str(tmp_path / "state"))
    kill = kill_once(tmp_path, random.Random(3), never_saved=never_saved, save_every=save_every, steps=60)
    assert kill.done > 0
    assert kill.lost_s <= MOST_LOST_S
