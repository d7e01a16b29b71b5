"""Saving, leaving and finding again: nothing is lost."""

from pathlib import Path

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus
from tests.support.desk_hands import press, session_of, shift_of
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.desk.window import DeskWindow
from lagline.session.storage import load
from lagline.session.values import Session


def test_a_session_saved_and_opened_again_is_the_same(
    desk: DeskWindow, questions: FakeQuestions, tmp_path: Path, qtbot: QtBot
) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    press(desk, "Right")
    questions.save_answer = tmp_path / "work.lagline"
    press(desk, "Ctrl+S")
    assert load(tmp_path / "work.lagline") == desk.parts.store.session
    assert not desk.isWindowModified()
    assert desk.parts.settings.recent == (tmp_path / "work.lagline",)
    press(desk, "Right")
    assert desk.isWindowModified()


def test_a_session_saved_lately_is_in_the_menu(
    desk: DeskWindow, questions: FakeQuestions, tmp_path: Path, qtbot: QtBot
) -> None:
    desk.recent.popup(desk.pos())
    assert [action.isEnabled() for action in desk.recent.actions()] == [False]
    desk.recent.hide()
    questions.save_answer = tmp_path / "work.lagline"
    press(desk, "Ctrl+S")
    press(desk, "Ctrl+W")
    desk.recent.popup(desk.pos())
    (action,) = desk.recent.actions()
    assert action.text().startswith("work ")
    with qtbot.waitSignal(desk.parts.files.opened, timeout=10_000):
        QTest.mouseClick(
            desk.recent,
            Qt.MouseButton.LeftButton,
            Qt.KeyboardModifier.NoModifier,
            desk.recent.actionGeometry(action).center(),
        )
    assert desk.parts.store.path == tmp_path / "work.lagline"


def test_unsaved_changes_are_guarded(desk: DeskWindow, questions: FakeQuestions, qtbot: QtBot) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    press(desk, "Right")
    questions.unsaved_answer = "stay"
    press(desk, "Ctrl+W")
    assert questions.asked == ["unsaved"]
    assert desk.parts.store.session is not None
    questions.unsaved_answer = "discard"
    press(desk, "Ctrl+W")
    assert desk.parts.store.session is None
    assert desk.pages.currentWidget() is desk.parts.empty


def test_a_take_that_was_only_opened_may_go(desk: DeskWindow, questions: FakeQuestions) -> None:
    press(desk, "Ctrl+W")
    assert questions.asked == []
    assert desk.parts.store.session is None


def test_a_crash_loses_nothing(
    desk: DeskWindow, questions: FakeQuestions, tmp_path: Path, qtbot: QtBot
) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    press(desk, "Right")
    questions.save_answer = tmp_path / "work.lagline"
    press(desk, "Ctrl+S")
    press(desk, "Shift+Right")
    desk.parts.files.autosaver.tick()
    desk.parts.files.autosaver.wait()
    questions.yes_answer = True
    questions.unsaved_answer = "stay"
    desk.parts.store.open(None)  # as after a crash: nothing was saved or let go
    with qtbot.waitSignal(desk.parts.files.opened, timeout=10_000):
        desk.open_paths([tmp_path / "work.lagline"])
    assert "yes: Unsaved work was found" in questions.asked
    assert shift_of(desk, "near") == 11


def test_missing_recordings_are_found_again(
    desk: DeskWindow, questions: FakeQuestions, tmp_path: Path, qtbot: QtBot
) -> None:
    questions.save_answer = tmp_path / "work.lagline"
    press(desk, "Ctrl+S")
    (tmp_path / "take").rename(tmp_path / "moved")
    questions.folder_answer = tmp_path
    with qtbot.waitSignal(desk.parts.files.opened, timeout=10_000):
        desk.open_paths([tmp_path / "work.lagline"])
    assert "missing" in questions.asked
    session = session_of(desk)
    assert {lane.source.path.parent.name for lane in session.lanes} == {"moved"}


def test_more_recordings_join_the_take(
    desk: DeskWindow, questions: FakeQuestions, take: Session, qtbot: QtBot
) -> None:
    questions.open_answer = [take.lanes[0].source.path]
    with qtbot.waitSignal(desk.parts.files.opened, timeout=10_000):
        press(desk, "Ctrl+Shift+A")
    session = session_of(desk)
    assert [lane.name for lane in session.lanes] == ["near", "side", "room", "near 2"]
    assert len({lane.id for lane in session.lanes}) == 4


def test_nothing_of_a_closed_take_stays_on_the_desk(
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot
) -> None:
    player.now = replace(player.now, position=91_000, loudness_lufs={"original": -20.0})
    qtbot.waitUntil(lambda: "1.8" in desk.parts.strip.clock.text())
    desk.parts.messages.show_note("Saved as mychapel.")
    press(desk, "Ctrl+W")
    assert desk.parts.store.session is None
    assert "1.8" not in desk.parts.strip.clock.text()
    assert not any("LUFS" in button.text() for button in desk.parts.strip.switch.buttons)
    assert not desk.parts.messages.text


def test_unsaved_changes_go_by_the_name_in_the_title_bar(
    desk: DeskWindow, questions: FakeQuestions, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []

    def unsaved(name: str) -> str:
        asked.append(name)
        return "stay"

    with monkeypatch.context() as patched:
        patched.setattr(questions, "unsaved", unsaved)
        for path in (None, tmp_path / "mychapel.lagline"):
            if path is not None:
                desk.parts.store.mark_saved(path)
            desk.parts.edits.rename(session_of(desk).lanes[0].id, f"name {path}")
            desk.close()
            assert desk.windowTitle().startswith(f"{asked[-1]}[*]")
    assert asked == [session_of(desk).name, "mychapel"]
