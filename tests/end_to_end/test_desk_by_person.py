"""The main job on the demo session, done at the desk: as a person would, by keyboard alone, by mouse alone.

What the truth is comes from the demo's truth.json, exact by construction of its generator; the engine is the
real one, on its silent clock where there is no sound device.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QSettings
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QCheckBox, QDialog, QLineEdit, QPushButton
from pytestqt.qtbot import QtBot
from tests.support.desk_hands import (
    choose_in_menu,
    click,
    drag,
    press,
    session_of,
    shift_of,
    type_text,
    wait_for,
)
from tests.support.fake_desk import FakeQuestions

from lagline.desk.lanes.lane_wave import GRIP
from lagline.desk.style import dress
from lagline.desk.window import DeskWindow
from lagline.jobs.demo import demo_session_path
from lagline.jobs.line_up import line_up
from lagline.jobs.open_take import open_take
from lagline.playback.player import Player
from lagline.session.storage import load
from lagline.session.values import ORIGINAL_ID

pytestmark = pytest.mark.slow
LANES = ("near_left", "near_right", "pickup")


@pytest.fixture
def questions() -> FakeQuestions:
    return FakeQuestions()


@pytest.fixture
def desk(qtbot: QtBot, qapp: QApplication, tmp_path: Path, questions: FakeQuestions) -> Iterator[DeskWindow]:
    dress(qapp, "light")
    settings = QSettings(str(tmp_path / "settings.ini"), QSettings.Format.IniFormat)
    window = DeskWindow(Player(), settings, questions)
    window.parts.settings.caution_read = True
    window.resize(1280, 800)
    window.show()
    qtbot.waitExposed(window)
    window.activateWindow()
    yield window
    questions.unsaved_answer = "discard"
    window.close()
    window.deleteLater()
    qapp.sendPostedEvents(None, 0)


def truth() -> dict[str, dict[str, float]]:
    document = json.loads((demo_session_path().parent / "truth.json").read_text("utf-8"))
    return {lane["name"]: lane for lane in document["lanes"]}


def is_open(desk: DeskWindow) -> bool:
    return desk.parts.store.session is not None and desk.is_drawn()


def is_measured(desk: DeskWindow) -> bool:
    return session_of(desk).alignment is not None and not desk.parts.measuring.is_busy


def play(desk: DeskWindow) -> None:
    """What was accepted is heard at once; else Space starts."""
    if not desk.parts.playing.state.is_playing:
        press(desk, "Space")
    wait_for(lambda: desk.parts.playing.state.is_playing, "playing")


def assert_lined_up(desk: DeskWindow) -> None:
    """Within a sample of the truth: what the reflections leave (demo_sessions/README.md)."""
    for name in LANES:
        assert shift_of(desk, name) == pytest.approx(-truth()[name]["arrival_samples"], abs=1.0), name
    session = session_of(desk)
    assert session.current_version.move(session.lane_named("pickup").id).polarity == -1


def aligned_files(folder: Path) -> list[Path]:
    return sorted((folder / "aligned").glob("*.wav"))


def assert_found_at_zero(folder: Path) -> None:
    files = aligned_files(folder)
    assert len(files) == 4
    alignment = line_up(open_take(files).session)
    for finding in alignment.findings:
        assert finding.arrival_samples == pytest.approx(0.0, abs=0.1), finding.sentence
        assert finding.polarity == 1, finding.sentence


def test_the_main_job_as_a_person(desk: DeskWindow, questions: FakeQuestions, tmp_path: Path) -> None:
    click(desk.parts.empty.demo)
    wait_for(lambda: is_open(desk), "the demo session")
    press(desk, "Ctrl+M")
    wait_for(lambda: is_measured(desk), "the measurement")
    press(desk, "Ctrl+Shift+Return")
    assert_lined_up(desk)

    # Drag a lane by ten samples, at a zoom where that is 80 pixels.
    before = shift_of(desk, "near_right")
    wave = desk.parts.lanes.stack.row(session_of(desk).lane_named("near_right").id).wave
    desk.parts.times.show_range(48_000, 48_000 + wave.width() / 8 / 1.06)
    assert desk.parts.times.view.per_pixel == pytest.approx(1 / 8, rel=0.01)
    # The magnet would hold on to the finding it leaves; whole samples are counted from the session's grid.
    drag(wave, GRIP.center(), 80)
    assert shift_of(desk, "near_right") == pytest.approx(before + 10, abs=0.51)
    assert desk.parts.store.undo_name == "Shift near_right"

    # Switch while it plays: the position goes on, what is heard changes.
    play(desk)
    press(desk, "2")
    wait_for(lambda: desk.parts.playing.state.heard_id == "v1", "the shifted version")
    at = desk.parts.playing.state.position_samples
    press(desk, "1")
    wait_for(lambda: desk.parts.playing.state.heard_id == ORIGINAL_ID, "the original")
    wait_for(lambda: desk.parts.playing.state.position_samples != at, "the playhead")
    press(desk, "Space")

    press(desk, "Ctrl+Z")
    assert shift_of(desk, "near_right") == before
    out = tmp_path / "out"
    questions.folder_answer = out

    def export(dialog: QDialog) -> None:
        buttons = {button.text(): button for button in dialog.findChildren(QPushButton)}
        click(buttons["Choose …"])
        click(buttons["Deliver"])
        wait_for(lambda: any(out.glob("*.html")), "the files")

    questions.with_dialog = export
    press(desk, "Ctrl+E")
    assert_found_at_zero(out)


def test_the_job_by_keyboard_alone(desk: DeskWindow, questions: FakeQuestions, tmp_path: Path) -> None:
    wait_for(lambda: QApplication.focusWidget() is not None, "the focus")
    for _ in range(20):  # to the demo's button, as the eye would
        if QApplication.focusWidget() is desk.parts.empty.demo:
            break
        press(desk, "Tab")
    press(desk, "Space")
    wait_for(lambda: is_open(desk), "the demo session")
    press(desk, "Ctrl+M")
    wait_for(lambda: is_measured(desk), "the measurement")
    press(desk, "Ctrl+Shift+Return")
    assert_lined_up(desk)
    press(desk, "Down")
    before = shift_of(desk, "near_right")
    press(desk, "Shift+Right")
    assert shift_of(desk, "near_right") == pytest.approx(before + 10)
    press(desk, "Shift+Left")
    play(desk)
    press(desk, "Tab")  # what was accepted is heard already
    wait_for(lambda: desk.parts.playing.state.heard_id == ORIGINAL_ID, "the original")
    press(desk, "Tab")
    wait_for(lambda: desk.parts.playing.state.heard_id == "v1", "the shifted version")
    press(desk, "Space")
    questions.save_answer = tmp_path / "work.lagline"
    press(desk, "Ctrl+S")
    assert load(tmp_path / "work.lagline") == session_of(desk)
    out = tmp_path / "out"

    def export(dialog: QDialog) -> None:
        assert isinstance(QApplication.focusWidget(), QLineEdit)
        type_text(str(out))
        press(desk, "Return")
        wait_for(lambda: any(out.glob("*.html")), "the files")

    questions.with_dialog = export
    press(desk, "Ctrl+E")
    assert len(aligned_files(out)) == 4


def test_the_job_by_mouse_alone(desk: DeskWindow, questions: FakeQuestions, tmp_path: Path) -> None:
    click(desk.parts.empty.demo)
    wait_for(lambda: is_open(desk), "the demo session")
    findings = desk.parts.side.tabs.findings
    wait_for(lambda: is_measured(desk), "the measurement")  # a demo take is measured as it comes
    buttons = {button.text(): button for button in findings.findChildren(QPushButton)}
    click(buttons["Measure again"])
    wait_for(lambda: is_measured(desk), "the same again")
    choose_in_menu(desk, "Measure", "accept_sound")
    assert_lined_up(desk)
    wait_for(lambda: desk.parts.playing.state.is_playing, "it to be heard")
    click(desk.parts.strip.play)
    wait_for(lambda: not desk.parts.playing.state.is_playing, "silence")
    wave = desk.parts.lanes.stack.row(session_of(desk).lane_named("far").id).wave
    drag(wave, GRIP.center(), 40)
    assert shift_of(desk, "far") != 0
    choose_in_menu(desk, "Edit", "undo")
    assert shift_of(desk, "far") == 0
    click(desk.parts.strip.play)
    wait_for(lambda: desk.parts.playing.state.is_playing, "playing")
    for button in reversed(desk.parts.strip.switch.buttons):
        click(button)
        wait_for(lambda b=button: desk.parts.playing.state.heard_id == b.version_id, button.text())
    click(desk.parts.strip.play)
    wait_for(lambda: not desk.parts.playing.state.is_playing, "silence")
    out = tmp_path / "out"
    questions.folder_answer = out

    def export(dialog: QDialog) -> None:
        parts = {one.text(): one for kind in (QPushButton, QCheckBox) for one in dialog.findChildren(kind)}
        click(parts["Choose …"])
        click(parts["Deliver"])
        wait_for(lambda: any(out.glob("*.html")), "the files")

    questions.with_dialog = export
    choose_in_menu(desk, "Take", "export")
    QTest.qWait(50)
    assert len(aligned_files(out)) == 4
