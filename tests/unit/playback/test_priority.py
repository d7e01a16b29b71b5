"""The engine's place before other work: asked for, and told as it was given."""

from __future__ import annotations

import os

import pytest

from lagline.playback import priority
from lagline.playback.board import Board
from lagline.playback.protocol import InUse
from lagline.playback.state import board_part


class System:
    """A system that gives what the test says, and remembers what it was asked."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *, processors: int = 2) -> None:
        self.gives: set[str] = {"real time", "niceness"}
        self.asked: list[str] = []
        monkeypatch.setattr(os, "cpu_count", lambda: processors)
        monkeypatch.setattr(os, "sched_setscheduler", self._schedule, raising=False)
        monkeypatch.setattr(os, "sched_param", lambda number: number, raising=False)
        monkeypatch.setattr(os, "SCHED_RR", 2, raising=False)
        monkeypatch.setattr(os, "nice", self._nice, raising=False)

    def _schedule(self, pid: int, policy: int, number: int) -> None:
        assert pid == 0 and policy == os.SCHED_RR and number == 1
        self._answer("real time")

    def _nice(self, step: int) -> None:
        assert step < 0
        self._answer("niceness")

    def _answer(self, what: str) -> None:
        self.asked.append(what)
        if what not in self.gives:
            raise PermissionError(1, "Operation not permitted")


def test_real_time_is_asked_for_first(monkeypatch: pytest.MonkeyPatch):
    system = System(monkeypatch)
    assert priority.come_first() == "real time"
    assert system.asked == ["real time"]


def test_a_lower_niceness_is_the_second_choice(monkeypatch: pytest.MonkeyPatch):
    system = System(monkeypatch)
    system.gives = {"niceness"}
    assert priority.come_first() == "raised"
    assert system.asked == ["real time", "niceness"]


def test_without_either_it_plays_all_the_same(monkeypatch: pytest.MonkeyPatch):
    system = System(monkeypatch)
    system.gives = set()
    assert priority.come_first() == "ordinary"


def test_a_system_that_knows_neither(monkeypatch: pytest.MonkeyPatch):
    System(monkeypatch)
    monkeypatch.delattr(os, "sched_setscheduler")
    monkeypatch.delattr(os, "nice")
    assert priority.come_first() == "ordinary"


def test_one_processor_is_not_taken_in_real_time(monkeypatch: pytest.MonkeyPatch):
    system = System(monkeypatch, processors=1)
    assert priority.come_first() == "raised"
    assert system.asked == ["niceness"]


def test_the_state_says_what_was_given():
    in_use = InUse("Box", 48_000, 256, 0.01, False, "raised")
    assert board_part(Board(), in_use, hidden=False)["priority"] == "raised"
    assert board_part(Board(), None, hidden=False)["priority"] is None
