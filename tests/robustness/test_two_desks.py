"""A short round of two desks on one session; two_desks.py plays many long ones."""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import pytest
from tests.robustness.two_desks import play


def test_no_edit_is_lost_without_a_question(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LAGLINE_STATE_DIR", str(tmp_path / "state"))  # the round sets its own
    counts: Counter[str] = Counter()
    assert play(tmp_path, random.Random(12), 15, counts) == set()
    assert counts["words"] > 3 and counts["save"] > 0 and counts["kill"] + counts["kill in a save"] > 0
