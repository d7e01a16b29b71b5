"""Edits reach the disk within seconds, off the desk's thread, and only unsaved ones are offered again."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest
from msgspec.structs import replace
from pytestqt.qtbot import QtBot
from tests.support.fake_desk import FakeQuestions

from lagline.desk import autosaver as module
from lagline.desk.autosaver import AUTOSAVE_MS
from lagline.desk.window import DeskWindow
from lagline.errors import CannotWrite
from lagline.session.autosave import autosave_path, left_behind, unsaved_left_behind
from lagline.session.storage import load, save
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
    desk.parts.files._show(session, path, saved=True)
    return path


def note(desk: DeskWindow, text: str) -> None:
    desk.parts.store.apply("Note", lambda session: replace(session, notes=text))


def kept(desk: DeskWindow) -> None:
    desk.parts.files.autosaver.tick()
    desk.parts.files.autosaver.wait()


def test_the_wait_leaves_a_slow_disk_its_part_of_five_seconds() -> None:
    assert AUTOSAVE_MS <= 2_500


def test_an_edit_is_on_the_disk_without_being_asked_for(desk: DeskWindow, saved: Path, qtbot: QtBot) -> None:
    note(desk, "first")
    qtbot.waitUntil(autosave_path(saved).is_file, timeout=AUTOSAVE_MS + 3_000)
    kept(desk)
    found = left_behind(saved)
    assert found is not None and found.notes == "first"


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

    def stalled(session: Session, path: Path | None) -> Path:
        calls.append(session.notes)
        go_on.wait(20)
        return tmp

    tmp = saved.with_name("elsewhere.autosave")
    monkeypatch.setattr(module, "write_autosave", stalled)
    note(desk, "one")
    began = time.monotonic()
    desk.parts.files.autosaver.tick()
    note(desk, "two")
    desk.parts.files.autosaver.tick()  # the first is still under way
    assert time.monotonic() - began < 5
    go_on.set()
    desk.parts.files.autosaver.wait()
    kept(desk)
    assert calls == ["one", "two"]


def test_after_a_save_an_undo_or_an_end_nothing_is_offered(desk: DeskWindow, saved: Path) -> None:
    note(desk, "undone")
    kept(desk)
    desk.parts.store.undo()
    kept(desk)
    assert not autosave_path(saved).exists()
    note(desk, "saved")
    kept(desk)
    desk.parts.files.save()
    assert not autosave_path(saved).exists()
    note(desk, "let go")
    kept(desk)
    desk.parts.store.undo()
    desk.close()
    assert not autosave_path(saved).exists()


def test_a_full_disk_is_said_once_and_tried_again(
    desk: DeskWindow, saved: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write, tries, told = module.write_autosave, [], []
    desk.parts.files.problem.connect(told.append)

    def full(session: Session, path: Path | None) -> Path:
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
    found = left_behind(saved)
    assert found is not None and found.notes == "kept in the end"


class TestNeverSaved:
    @pytest.fixture
    def left(self, take: Session, own_state: Path) -> Path:
        """What a desk that is gone left of work without a file."""
        own_state.mkdir()
        path = own_state / "unsaved-999999999-00000000.autosave"
        save(replace(take, notes="from before"), path)
        return path

    def test_it_is_offered_at_the_start_and_kept_until_saved(
        self, window: DeskWindow, left: Path, questions: FakeQuestions, tmp_path: Path
    ) -> None:
        questions.yes_answer = True
        window.parts.files.offer_left_behind()
        assert window.parts.store.session is not None
        assert window.parts.store.session.notes == "from before"
        kept(window)
        assert list(unsaved_left_behind()) == [left]  # a second crash would lose nothing either
        questions.save_answer = tmp_path / "take" / "at last.lagline"
        window.parts.files.save()
        assert load(tmp_path / "take" / "at last.lagline").notes == "from before"
        assert list(unsaved_left_behind()) == []

    def test_what_is_not_wanted_is_set_aside(
        self, window: DeskWindow, left: Path, questions: FakeQuestions, own_state: Path
    ) -> None:
        questions.yes_answer = False
        window.parts.files.offer_left_behind()
        assert window.parts.store.session is None
        assert list(unsaved_left_behind()) == []
        (aside,) = own_state.iterdir()
        assert load(aside).notes == "from before"

    def test_a_damaged_one_is_named(self, window: DeskWindow, left: Path, questions: FakeQuestions) -> None:
        left.write_text("{")
        told: list[str] = []
        window.parts.files.problem.connect(told.append)
        window.parts.files.offer_left_behind()
        assert questions.asked == []
        assert len(told) == 1 and left.name in told[0]
