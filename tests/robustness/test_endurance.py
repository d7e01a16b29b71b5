"""A dozen rounds of a day at the desk leave nothing behind; endurance.py does thousands."""

from __future__ import annotations

from pathlib import Path

from pytestqt.qtbot import QtBot
from tests.robustness.endurance import Count, Day


def test_nothing_is_left_behind_round_by_round(tmp_path: Path, qtbot: QtBot) -> None:
    day = Day(tmp_path, real_player=False, heavy_every=4)
    try:
        for number in range(1, 5):  # the first rounds fill caches and start helpers
            day.round(number)
        before = Count(4, 0.0)
        for number in range(5, 13):
            day.round(number)
        after = Count(12, 0.0)
    finally:
        day.close()
    assert day.problems == []
    for name in ("widgets", "qt_objects", "threads", "processes"):
        assert getattr(after, name) <= getattr(before, name) + 2, name
    assert after.handles <= before.handles + 4
