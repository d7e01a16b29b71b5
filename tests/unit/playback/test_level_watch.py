"""The desk's side of measuring levels, with a process made up for the test."""

from __future__ import annotations

import errno
from typing import Any

import pytest
from tests.support.array_clips import noise_clips, session_of

from lagline.playback import level_watch
from lagline.playback.helper import spawn_context
from lagline.playback.level_watch import LevelWatch
from lagline.playback.levels import LevelsFailed, LevelsFound, LevelsWanted
from lagline.playback.protocol import Failed


class FakeHelper:
    """Answers when the test says so."""

    def __init__(self, *_: object) -> None:
        self.sources: list[Any] = []
        self.sent: list[LevelsWanted] = []
        self.says: list[object] = []
        self.alive = True

    def is_alive(self) -> bool:
        return self.alive

    def send(self, request: LevelsWanted) -> bool:
        self.sent.append(request)
        return self.alive

    def heard(self, _: list[Any]) -> list[object]:
        said, self.says = self.says, []
        return said

    def close(self) -> str:
        return ""


@pytest.fixture
def watch(monkeypatch: pytest.MonkeyPatch) -> LevelWatch:
    monkeypatch.setattr(level_watch, "Helper", FakeHelper)
    monkeypatch.setattr(level_watch, "AFTER_S", 0.0)
    return LevelWatch(spawn_context())


def asked(watch: LevelWatch) -> FakeHelper:
    watch.note(session_of(noise_clips(1, 100)))
    watch.ask_if_due()
    helper = watch._helper
    assert isinstance(helper, FakeHelper)
    return helper


def found(token: int) -> LevelsFound:
    return LevelsFound(token, {"original": -20.0}, {"original": -3.0})


def test_an_answer_is_kept(watch: LevelWatch):
    helper = asked(watch)
    helper.says = [found(helper.sent[-1].token)]
    assert watch.hear([]) == (True, None)
    assert watch.match_db == {"original": -3.0} and not watch.is_measuring


def test_the_answer_for_another_take_is_not_taken(watch: LevelWatch):
    helper = asked(watch)
    helper.says = [found(helper.sent[-1].token)]
    watch.forget()
    assert watch.hear([]) == (False, None)
    assert watch.lufs == watch.match_db == {}
    assert not watch.is_measuring
    watch.ask_if_due()
    assert len(helper.sent) == 1, "the take before was measured again"


def test_a_corrected_answer_is_taken(watch: LevelWatch):
    helper = asked(watch)
    token = helper.sent[-1].token
    helper.says = [found(token)]
    watch.hear([])
    helper.says = [LevelsFound(token, {"original": -10.0}, {"original": 0.0})]
    assert watch.hear([])[0] and watch.lufs == {"original": -10.0}


def test_a_failure_is_told_and_measuring_ends(watch: LevelWatch):
    helper = asked(watch)
    helper.says = [LevelsFailed(helper.sent[-1].token, Failed("MemoryError: no words", "trace"))]
    newest, failed = watch.hear([])
    assert not newest and failed is not None and failed.reason.startswith("MemoryError")
    assert not watch.is_measuring


def answered_then_asked_again(watch: LevelWatch) -> FakeHelper:
    helper = asked(watch)
    helper.says = [found(helper.sent[-1].token)]
    watch.hear([])
    assert watch.match_db
    return asked(watch)


def test_a_failure_leaves_the_last_gains_which_are_not_current(watch: LevelWatch):
    helper = answered_then_asked_again(watch)
    helper.says = [LevelsFailed(helper.sent[-1].token, Failed("MemoryError: no words", "trace"))]
    watch.hear([])
    assert watch.match_db == {"original": -3.0} and not watch.is_current


def test_the_failure_of_an_older_request_changes_nothing(watch: LevelWatch):
    helper = answered_then_asked_again(watch)
    helper.says = [LevelsFailed(helper.sent[0].token, Failed("MemoryError: no words", "trace"))]
    assert watch.hear([]) == (False, None)
    assert watch.match_db and watch.is_measuring


def test_a_process_that_dies_without_an_answer_leaves_the_last_gains(watch: LevelWatch):
    helper = answered_then_asked_again(watch)
    helper.alive = False
    assert watch.fallen() is helper
    assert watch.match_db == {"original": -3.0} and not watch.is_current and not watch.is_measuring


def test_an_estimate_is_used_until_the_answer_proper(watch: LevelWatch):
    helper = asked(watch)
    token = helper.sent[-1].token
    helper.says = [LevelsFound(token, {"original": -19.0}, {"original": -2.0}, is_rough=True)]
    assert watch.hear([]) == (True, None)
    assert watch.match_db == {"original": -2.0}
    assert watch.is_measuring and not watch.is_current
    helper.says = [LevelsFound(token, {"original": -20.0}, {"original": -3.0}, {"original": 0})]
    assert watch.hear([])[0] and watch.is_current and not watch.is_measuring


def test_the_process_can_be_there_before_there_is_anything_to_ask(watch: LevelWatch):
    watch.prepare()
    assert watch.wait_s() == 0.0
    watch.ask_if_due()
    assert isinstance(watch._helper, FakeHelper) and not watch._helper.sent
    assert watch.wait_s() is None


def test_a_process_that_dies_after_its_answer_leaves_the_levels(watch: LevelWatch):
    helper = asked(watch)
    helper.says = [found(helper.sent[-1].token)]
    watch.hear([])
    helper.alive = False
    assert watch.fallen() is helper
    assert watch.match_db == {"original": -3.0}


def test_a_dead_process_is_given_up_and_the_next_edit_has_another(watch: LevelWatch):
    helper = asked(watch)
    helper.alive = False
    assert watch.fallen() is helper
    assert watch.fallen() is None and not watch.is_measuring
    assert asked(watch) is not helper


def test_no_process_to_measure_is_a_failure_and_the_next_edit_tries_again(
    watch: LevelWatch, monkeypatch: pytest.MonkeyPatch
):
    watch.lufs, watch.match_db = {"original": -20.0}, {"original": -3.0}

    def refuse(*_: object) -> FakeHelper:
        raise OSError(errno.EMFILE, "Too many open files")

    with monkeypatch.context() as patch:
        patch.setattr(level_watch, "Helper", refuse)
        watch.note(session_of(noise_clips(1, 100)))
        failed = watch.ask_if_due()
    assert failed is not None and "Too many open files" in failed.reason
    assert watch.match_db == {"original": -3.0} and not watch.is_measuring and not watch.is_current
    assert asked(watch).sent
