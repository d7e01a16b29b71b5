"""Edits reach the disk within seconds, off the desk's thread, and only unsaved ones are offered again."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest
from msgspec.structs import replace
from pytestqt.qtbot import QtBot
from tests.support.fake_desk import FakeQuestions
from tests.support.gone_runs import crashed_with

from lagline.desk import autosaver as module
from lagline.desk.autosaver import AUTOSAVE_MS
from lagline.desk.session_hold import HeldFile
from lagline.desk.window import DeskWindow
from lagline.errors import CannotWrite
from lagline.session.autosave import autosave_path, read_autosave, unsaved_left_behind
from lagline.session.lock import Lock
from lagline.session.lock import take as take_lock
from lagline.session.storage import load, save, stamp
from lagline.session.values import Session


@pytest.fixture(autouse=True)
def own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("LAGLINE_STATE_DIR", str(tmp_path / "state"))
    return tmp_path / "state"


@pytest.fixture
def saved(desk: DeskWindow, tmp_path: Path) -> Path:
    """The take on the desk, saved."""
    path = tmp_path / "work.lagline"
    session = desk.parts.store.session
    assert session is not None
    save(session, path)
    lock = take_lock(path)
    assert isinstance(lock, Lock)
    desk.parts.keeping.show(session, HeldFile(lock, stamp(path) or ""), saved=True)
    return path


def note(desk: DeskWindow, text: str) -> None:
    desk.parts.store.apply("Note", lambda session: replace(session, notes=text))


def kept(desk: DeskWindow) -> None:
    desk.parts.keeping.autosaver.tick()
    desk.parts.keeping.autosaver.wait()


def test_the_wait_leaves_a_slow_disk_its_part_of_two_seconds() -> None:
    assert AUTOSAVE_MS <= 1_000


def test_an_edit_is_on_the_disk_without_being_asked_for(desk: DeskWindow, saved: Path, qtbot: QtBot) -> None:
    note(desk, "first")
    qtbot.waitUntil(autosave_path(saved).is_file, timeout=AUTOSAVE_MS + 3_000)
    kept(desk)
    assert read_autosave(autosave_path(saved)).session.notes == "first"


def test_nothing_is_written_twice(desk: DeskWindow, saved: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    note(desk, "once")
    kept(desk)
    monkeypatch.setattr(module, "write_autosave", pytest.fail)
    kept(desk)
    kept(desk)


def test_a_disk_that_stalls_does_not_stall_the_desk(
    desk: DeskWindow, saved: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    go_on = threading.Event()
    calls = []

    def stalled(session: Session, *_: object) -> Path:
        calls.append(session.notes)
        go_on.wait(20)
        return tmp

    tmp = saved.with_name("elsewhere.autosave")
    monkeypatch.setattr(module, "write_autosave", stalled)
    note(desk, "one")
    desk.parts.keeping.autosaver.tick()
    note(desk, "two")
    desk.parts.keeping.autosaver.tick()  # the first is still under way
    assert "two" not in calls
    go_on.set()
    desk.parts.keeping.autosaver.wait()
    kept(desk)
    assert calls == ["one", "two"]


def test_what_was_done_can_be_undone_after_a_crash_even_when_it_is_saved(
    desk: DeskWindow, saved: Path
) -> None:
    note(desk, "one")
    note(desk, "two")
    desk.parts.store.undo()
    desk.parts.keeping.save()
    assert not autosave_path(saved).exists()
    kept(desk)
    found = read_autosave(autosave_path(saved))
    assert found.session == load(saved) and found.known == stamp(saved)
    assert [state.notes for state in found.history.states] == ["", "one", "two"] and found.history.at == 1
    desk.close()
    assert not autosave_path(saved).exists()


def test_of_a_take_without_a_file_nothing_is_kept_once_all_is_undone(desk: DeskWindow) -> None:
    note(desk, "undone")
    kept(desk)
    assert autosave_path(None).exists()
    desk.parts.store.undo()
    kept(desk)
    assert not autosave_path(None).exists()


def test_saved_for_the_first_time_it_moves_to_its_file(
    desk: DeskWindow, questions: FakeQuestions, tmp_path: Path
) -> None:
    note(desk, "one")
    kept(desk)
    questions.save_answer = tmp_path / "new.lagline"
    desk.parts.keeping.save()
    note(desk, "two")
    kept(desk)
    assert not autosave_path(None).exists()
    assert read_autosave(autosave_path(tmp_path / "new.lagline")).session.notes == "two"


def test_others_see_that_its_owner_is_there(desk: DeskWindow, saved: Path, qtbot: QtBot) -> None:
    note(desk, "resting")
    kept(desk)
    os.utime(autosave_path(saved), (1, 1))
    desk.parts.keeping.autosaver._signed_s = -1e9
    desk.parts.keeping.autosaver.tick()
    qtbot.waitUntil(lambda: autosave_path(saved).stat().st_mtime > 1_000)


def test_a_full_disk_is_said_once_and_tried_again(
    desk: DeskWindow, saved: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write, tries, told = module.write_autosave, [], []
    desk.parts.keeping.problem.connect(told.append)

    def full(session: Session, *_: object) -> Path:
        tries.append(session)
        raise CannotWrite(saved, "No space left on device")

    monkeypatch.setattr(module, "write_autosave", full)
    note(desk, "kept in the end")
    kept(desk)
    kept(desk)
    assert len(tries) == 2
    assert len(told) == 1 and "No space left" in told[0] and "Save the session often" in told[0]
    monkeypatch.setattr(module, "write_autosave", write)
    kept(desk)
    assert read_autosave(autosave_path(saved)).session.notes == "kept in the end"


class TestNeverSaved:
    @pytest.fixture
    def left(self, take: Session, tmp_path: Path) -> Path:
        """What a desk that is gone left of work without a file."""
        save(replace(take, notes="from before"), tmp_path / "edited")
        crashed_with(tmp_path / "edited", None)
        return unsaved_left_behind().kept[0].file

    def test_it_is_offered_at_the_start_and_kept_until_saved(
        self, window: DeskWindow, left: Path, questions: FakeQuestions, tmp_path: Path
    ) -> None:
        questions.yes_answer = True
        window.parts.files.offer_left_behind()
        assert window.parts.store.session is not None
        assert window.parts.store.session.notes == "from before"
        assert left.exists()  # a second crash would lose nothing
        kept(window)
        assert autosave_path(None).exists() and not left.exists()  # either
        questions.save_answer = tmp_path / "take" / "at last.lagline"
        window.parts.keeping.save()
        assert load(tmp_path / "take" / "at last.lagline").notes == "from before"
        assert unsaved_left_behind().kept == ()
        assert not autosave_path(None).exists()

    def test_what_is_not_wanted_is_set_aside(
        self, window: DeskWindow, left: Path, questions: FakeQuestions, own_state: Path
    ) -> None:
        questions.yes_answer = False
        window.parts.files.offer_left_behind()
        assert window.parts.store.session is None
        assert unsaved_left_behind().kept == ()
        (aside,) = own_state.iterdir()
        assert load(aside).notes == "from before"

    @pytest.mark.parametrize("content", ["{", '{"schema": "lagline/session", "version": 99}'])
    def test_one_that_cannot_be_read_is_set_aside_and_told(
        self, window: DeskWindow, left: Path, questions: FakeQuestions, own_state: Path, content: str
    ) -> None:
        left.write_text(content)
        told: list[str] = []
        window.parts.files.problem.connect(told.append)
        window.parts.files.offer_left_behind()
        assert questions.asked == []
        (aside,) = own_state.iterdir()
        assert aside.read_text() == content
        assert len(told) == 1 and left.name in told[0] and str(aside) in told[0]
        window.parts.files.offer_left_behind()
        assert len(told) == 1

    def test_its_missing_recordings_are_asked_for(
        self, window: DeskWindow, left: Path, questions: FakeQuestions, tmp_path: Path, qtbot: QtBot
    ) -> None:
        (tmp_path / "take").rename(tmp_path / "moved")
        questions.folder_answer = tmp_path / "moved"
        with qtbot.waitSignal(window.parts.files.opened, timeout=20_000):
            window.parts.files.offer_left_behind()
        session = window.parts.store.session
        assert "missing" in questions.asked and session is not None
        assert all(lane.source.path.exists() for lane in session.lanes)
