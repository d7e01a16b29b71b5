"""A desk that is killed loses seconds; crash_recovery.py kills many more."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from tests.robustness.crash_recovery import MOST_LOST_S, kill_once


@pytest.mark.parametrize("never_saved", [False, True])
def test_a_killed_desk_loses_at_most_five_seconds(
    tmp_path: Path, never_saved: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LAGLINE_STATE_DIR", str(tmp_path / "state"))
    kill = kill_once(tmp_path, random.Random(3), never_saved=never_saved, steps=60)
    assert kill.done > 0
    assert kill.lost_s <= MOST_LOST_S
