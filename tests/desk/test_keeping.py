"""Saving, leaving and finding again: nothing is lost."""

from pathlib import Path

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus, wait_until_drawn
from tests.support.desk_hands import press, session_of, shift_of
from tests.support.fake_desk import FakePlayer, FakeQuestions
from tests.support.gone_runs import crashed_with

from lagline.desk.window import DeskWindow
from lagline.session.edits import with_shift
from lagline.session.restore_points import restore_points
from lagline.session.storage import load, save
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


def test_a_take_opened_from_its_recordings_is_unsaved_once_it_is_changed(
    window: DeskWindow, take: Session, qtbot: QtBot
) -> None:
    window.parts.files.open([lane.source.path for lane in take.lanes])
    qtbot.waitUntil(lambda: window.parts.store.session is not None, timeout=10_000)
    wait_until_drawn(window, qtbot)
    assert not window.isWindowModified()
    focus(window.parts.lanes.stack, qtbot)
    press(window, "Right")
    assert window.isWindowModified()


def test_a_crash_loses_nothing(
    window: DeskWindow, take: Session, questions: FakeQuestions, tmp_path: Path, qtbot: QtBot
) -> None:
    file = tmp_path / "work.lagline"
    save(take, file)
    save(with_shift(take, take.lanes[0].id, 11.0), tmp_path / "edited")
    crashed_with(tmp_path / "edited", file)
    questions.yes_answer = True
    with qtbot.waitSignal(window.parts.files.opened, timeout=10_000):
        window.open_paths([file])
    assert questions.asked == ["yes: Unsaved work was found"]
    assert shift_of(window, "near") == 11 and window.isWindowModified()


def test_a_bad_autosave_does_not_bar_a_healthy_session(
    window: DeskWindow, take: Session, tmp_path: Path, qtbot: QtBot
) -> None:
    file = tmp_path / "work.lagline"
    save(take, file)
    file.with_name(".work.lagline.autosave").write_text("{")  # as versions named it that kept one for all
    file.with_name(".work.lagline.0123456789ab.autosave").write_text(
        '{"schema": "lagline/session", "version": 99}'
    )
    with qtbot.waitSignal(window.parts.files.opened, timeout=10_000):
        window.open_paths([file])
    assert session_of(window) == take
    assert "set aside" in window.parts.messages.text
    aside = {path.name: path.read_text()[:1] for path in tmp_path.glob("*aside*")}
    assert aside == {"work (set aside 1).lagline": "{", "work (set aside 2).lagline": "{"}


def test_a_damaged_session_is_opened_as_it_was_last(
    window: DeskWindow, take: Session, questions: FakeQuestions, tmp_path: Path, qtbot: QtBot
) -> None:
    file = tmp_path / "work.lagline"
    for notes in ("one", "two"):
        save(replace(take, notes=notes), file)
    file.write_text("{")
    questions.yes_answer = False
    with qtbot.waitSignal(window.parts.files.problem, timeout=10_000):
        window.open_paths([file])
    assert window.parts.store.session is None and not file.with_name(".work.lagline.lock").exists()
    questions.yes_answer = True
    with qtbot.waitSignal(window.parts.files.opened, timeout=10_000):
        window.open_paths([file])
    assert session_of(window).notes == "one" and window.isWindowModified()
    assert file.read_text() == "{"
    press(window, "Ctrl+S")
    assert load(file).notes == "one"
    assert "{" in [point.path.read_text() for point in restore_points(file)]


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
