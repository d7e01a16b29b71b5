"""Looking through earlier states and taking one back, as a person does."""

from __future__ import annotations

import os
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from tests.support.desk_hands import session_of
from tests.support.fake_desk import FakeQuestions

from lagline.desk.dialogs.restore_points import RestorePointsDialog
from lagline.desk.dialogs.restore_words import state_words, when_words
from lagline.desk.window import DeskWindow
from lagline.session.edits import with_new_version, with_shift
from lagline.session.restore_points import restore_points
from lagline.session.storage import load, save
from lagline.session.values import Session


@pytest.fixture
def file(window: DeskWindow, take: Session, tmp_path: Path, qtbot: QtBot) -> Path:
    """A session saved three times, a day and an hour between, on the desk."""
    path = tmp_path / "work.lagline"
    for number, ago in enumerate((timedelta(hours=25), timedelta(hours=1), timedelta())):
        save(replace(with_shift(take, take.lanes[0].id, float(number)), notes=f"state {number}"), path)
        when = (datetime.now() - ago).timestamp()
        os.utime(path, (when, when))
    with qtbot.waitSignal(window.parts.files.opened, timeout=10_000):
        window.open_paths([path])
    return path


def choose(dialog: RestorePointsDialog, row: int) -> str:
    """What stands there of the point at `row` (0: the newest)."""
    dialog.list.setFocus()
    for _ in range(row):
        QTest.keyClick(dialog.list, Qt.Key.Key_Down)
    for _ in range(500):
        if dialog.list.currentRow() == row and "Reading" not in dialog.state.text():
            break
        QTest.qWait(10)
    return dialog.state.text()


def show(window: DeskWindow) -> None:
    window.commands.view.run("restore_points")


def test_what_each_holds_can_be_read(window: DeskWindow, file: Path, questions: FakeQuestions) -> None:
    told: list[str] = []

    def look(dialog: RestorePointsDialog) -> None:
        told.extend(dialog.list.item(row).text() for row in range(dialog.list.count()))
        told.append(choose(dialog, 1))

    questions.with_dialog = look
    before = session_of(window)
    show(window)
    assert len(told) == 3
    assert told[1].startswith(("Yesterday, ", "2"))
    assert "state 0" in told[2] and "near: 0.00 samples." in told[2].replace("+0.00", "0.00")
    assert session_of(window) is before


def test_one_is_taken_back_and_that_can_be_undone(
    window: DeskWindow, file: Path, questions: FakeQuestions
) -> None:
    window.parts.store.apply("Note", lambda old: replace(old, notes="not saved"))

    def take_it(dialog: RestorePointsDialog) -> None:
        choose(dialog, 1)
        QTest.mouseClick(dialog.take_back, Qt.MouseButton.LeftButton)

    questions.with_dialog = take_it
    show(window)
    assert session_of(window).notes == "state 0" and window.isWindowModified()
    assert load(file).notes == "state 2"
    kept = [load(point.path, folder=file.parent).notes for point in restore_points(file)]
    assert kept == ["not saved", "state 1", "state 0"]
    window.commands.view.run("undo")
    assert session_of(window).notes == "not saved"
    window.commands.view.run("redo")
    window.commands.view.run("save")
    assert load(file).notes == "state 0"
    kept = [load(point.path, folder=file.parent).notes for point in restore_points(file)]
    assert {"not saved", "state 2", "state 1"} <= set(kept)


def test_recordings_found_again_since_stay_found(
    window: DeskWindow, file: Path, questions: FakeQuestions, tmp_path: Path, qtbot: QtBot
) -> None:
    (tmp_path / "take").rename(tmp_path / "moved")
    questions.folder_answer = tmp_path / "moved"
    with qtbot.waitSignal(window.parts.files.opened, timeout=10_000):
        window.open_paths([file])

    def take_it(dialog: RestorePointsDialog) -> None:
        choose(dialog, 0)
        QTest.keyClick(dialog.list, Qt.Key.Key_Return)

    questions.with_dialog = take_it
    show(window)
    assert session_of(window).notes == "state 1"
    assert all(lane.source.path.exists() for lane in session_of(window).lanes)


def test_a_damaged_one_says_so_and_cannot_be_taken(
    window: DeskWindow, file: Path, questions: FakeQuestions
) -> None:
    restore_points(file)[0].path.write_text("{")
    seen: list[object] = []
    questions.with_dialog = lambda dialog: seen.extend((choose(dialog, 0), dialog.take_back.isEnabled()))
    show(window)
    assert "cannot be read" in str(seen[0]) and seen[1] is False


def test_when_the_present_cannot_be_kept_nothing_is_taken_back(
    window: DeskWindow, file: Path, questions: FakeQuestions, monkeypatch: pytest.MonkeyPatch
) -> None:
    window.parts.store.apply("Note", lambda old: replace(old, notes="not saved"))

    def take_it(dialog: RestorePointsDialog) -> None:
        choose(dialog, 1)
        monkeypatch.setattr("lagline.desk.keeping.keep", full)
        dialog.accept()

    def full(*_: object) -> Path:
        raise OSError(28, "No space left on device")

    questions.with_dialog = take_it
    show(window)
    assert session_of(window).notes == "not saved"
    assert "No space left" in window.parts.messages.text


def test_without_any_it_says_so(desk: DeskWindow, questions: FakeQuestions, tmp_path: Path) -> None:
    show(desk)
    assert "no file yet" in desk.parts.messages.text
    questions.save_answer = tmp_path / "new.lagline"
    desk.commands.view.run("save")
    show(desk)
    assert "Nothing was saved over new.lagline yet" in desk.parts.messages.text
    assert questions.asked == ["save"]


class TestWords:
    def test_moments(self) -> None:
        now = datetime(2025, 3, 9, 15, 0).astimezone()
        assert when_words(now - timedelta(hours=1), now) == "Today, 14:00:00"
        assert when_words(now - timedelta(days=1), now) == "Yesterday, 15:00:00"
        assert when_words(now - timedelta(days=8), now) == "Sat 01 Mar 2025, 15:00:00"

    def test_what_is_otherwise(self, take: Session) -> None:
        then = replace(with_shift(take, take.lanes[2].id, 12.5), lanes=take.lanes[1:], notes="")
        now = replace(with_new_version(take, "Second"), notes="later")
        assert state_words(then, now) == (
            "2 lanes, 1 version and the original.",
            "Without near.",
            "In Shifted, where it differs from now:",
            "room: +12.50 samples.",
            "Versions: Original, Shifted.",
            "No notes.",
        )
        assert state_words(then, then)[1] == "This is what is on the desk now."
        assert "details" in state_words(replace(take, loop=(0, 5)), take)[1]
