"""A day's takes in the desk: listed, measured, held against, accepted, decided, delivered, opened."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from msgspec.structs import replace
from PySide6.QtCore import QAbstractItemModel, Qt
from PySide6.QtTest import QAbstractItemModelTester, QTest
from PySide6.QtWidgets import QDialog
from pytestqt.qtbot import QtBot
from tests.desk.conftest import wait_until_drawn
from tests.support.day_takes import told_day, write_day
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.day.asking import Asked, Measure
from lagline.day.document import load_day, place_of_list, save_day
from lagline.day.listing import listed
from lagline.day.work import done
from lagline.desk.commands import command
from lagline.desk.day.list_dialog import ListDialog, ListWish
from lagline.desk.day.takes_dialogs import DecideDialog, DeliverDialog, HoldDialog
from lagline.desk.day.takes_model import DIFFERS, HEALTH, STATE, TAKE, TakesModel
from lagline.desk.day.takes_store import TakesStore
from lagline.desk.window import DeskWindow
from lagline.jobs.open_take import open_take
from lagline.session.storage import load, save, stamp

MOVED = {4: {"side": 56 + 48}, 5: {"side": 56}}


def run(window: DeskWindow, command_id: str) -> None:
    window.actions_by_id[command(command_id).id].trigger()


def key(window: DeskWindow, wanted: Qt.Key, qtbot: QtBot) -> None:
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow, timeout=5_000)
    QTest.keyClick(window, wanted, Qt.KeyboardModifier.ControlModifier)


def with_list(window: DeskWindow, questions: FakeQuestions, root: Path, qtbot: QtBot) -> None:
    """Ctrl+T, the folder, Enter once the preview is there."""
    questions.folder_answer = root

    def use(dialog: QDialog) -> None:
        assert isinstance(dialog, ListDialog)
        qtbot.waitUntil(lambda: dialog._make.isEnabled(), timeout=10_000)
        qtbot.mouseClick(dialog._make, Qt.MouseButton.LeftButton)

    questions.with_dialog = use
    key(window, Qt.Key.Key_T, qtbot)
    qtbot.waitUntil(lambda: window.parts.takes.day is not None, timeout=20_000)
    questions.with_dialog = None


def work(window: DeskWindow, command_id: str, qtbot: QtBot) -> None:
    run(window, command_id)
    qtbot.waitUntil(lambda: not window.parts.takes_work.is_busy, timeout=120_000)
    qtbot.wait(400)  # what differs follows a little later


def texts(model: QAbstractItemModel, column: int) -> list[str]:
    return [model.index(row, column).data() for row in range(model.rowCount())]


@pytest.fixture
def day(tmp_path: Path) -> Path:
    return write_day(tmp_path / "day", 5, MOVED)


@pytest.fixture(scope="module")
def measured_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A day whose takes were measured before: list and sessions beside the recordings."""
    root = write_day(tmp_path_factory.mktemp("measured") / "day", 5, MOVED)
    made = listed([root]).day
    for take in made.takes:
        made = made.with_take(done(Asked(take, Measure())).take)
    save_day(made, place_of_list([root]))
    return root


@pytest.fixture
def measured(measured_once: Path, tmp_path: Path) -> Path:
    return shutil.copytree(measured_once, tmp_path / "day")


def test_a_day_goes_from_its_folder_to_its_delivery(
    window: DeskWindow, questions: FakeQuestions, day: Path, tmp_path: Path, qtbot: QtBot
) -> None:
    with_list(window, questions, day, qtbot)
    panel, model = window.parts.takes_panel, window.parts.takes_panel.model
    assert panel.isVisible() and window.actions_by_id["takes_list"].isChecked()
    assert texts(model, TAKE) == [f"Take {n}" for n in range(1, 6)]
    assert texts(model, STATE) == ["○ new"] * 5

    work(window, "takes_measure", qtbot)
    assert texts(model, STATE) == ["◔ measured"] * 5 and texts(model, HEALTH) == ["✓ well"] * 5
    qtbot.waitUntil(lambda: texts(model, DIFFERS)[3].startswith("↔ side moved +48"), timeout=10_000)
    assert [text for text in texts(model, DIFFERS) if text != "as usual"] == [texts(model, DIFFERS)[3]]

    work(window, "takes_accept", qtbot)
    assert texts(model, STATE) == ["◑ lined up"] * 3 + ["◔ measured", "◑ lined up"]
    work(window, "takes_accept_moved", qtbot)
    assert texts(model, STATE) == ["◑ lined up"] * 5

    questions.with_dialog = _accept
    work(window, "takes_decide", qtbot)
    assert texts(model, STATE) == ["◕ decided"] * 5

    out = tmp_path / "out"

    def deliver(dialog: QDialog) -> None:
        assert isinstance(dialog, DeliverDialog)
        dialog.show_folder(out)
        dialog.do.click()

    questions.with_dialog = deliver
    work(window, "takes_deliver", qtbot)
    assert texts(model, STATE) == ["● delivered"] * 5
    assert (out / "day report.html").is_file() and (out / "day delay sheet.csv").is_file()
    assert len(list((out / "Take 4" / "aligned").glob("*.wav"))) == 3
    qtbot.waitUntil(lambda: (day / "day.lagline-day").is_file(), timeout=10_000)
    window.parts.takes.settle()
    assert [take.state for take in load_day(day / "day.lagline-day").takes] == ["delivered"] * 5


def _accept(dialog: QDialog) -> None:
    assert isinstance(dialog, DecideDialog | HoldDialog)
    dialog.do.click()


def test_a_list_opened_again_is_as_it_was_left(
    window: DeskWindow, questions: FakeQuestions, measured: Path, qtbot: QtBot
) -> None:
    with_list(window, questions, measured, qtbot)
    before = window.parts.takes.day
    with_list(window, questions, measured, qtbot)
    qtbot.waitUntil(lambda: window.parts.takes.day is not before, timeout=20_000)
    assert window.parts.takes.day == before


def test_a_list_is_opened_by_its_file_under_another_name_and_in_another_place(
    window: DeskWindow, measured: Path, tmp_path: Path, qtbot: QtBot
) -> None:
    moved = measured.rename(tmp_path / "moved")
    file = (moved / "day.lagline-day").rename(moved / "tuesday.lagline-day")
    window.open_paths([file])
    qtbot.waitUntil(lambda: window.parts.takes.day is not None, timeout=20_000)
    assert texts(window.parts.takes_panel.model, STATE) == ["◔ measured"] * 5
    window.parts.takes.settle()
    assert [path.name for path in moved.glob("*.lagline-day")] == ["tuesday.lagline-day"]
    file.write_text("{")
    window.open_paths([file])
    assert "tuesday.lagline-day" in window.parts.messages.text


def test_what_fails_is_told_and_tried_again(
    window: DeskWindow, questions: FakeQuestions, day: Path, qtbot: QtBot
) -> None:
    with_list(window, questions, day, qtbot)
    bad = day / "Take 2" / "near.wav"
    bad.rename(day / "near.away")
    (day / "Take 2" / "side.wav").rename(day / "side.away")
    work(window, "takes_measure", qtbot)
    model = window.parts.takes_panel.model
    assert texts(model, STATE)[1] == "○ new" and texts(model, DIFFERS)[1].startswith("⚠ ")
    assert texts(model, STATE)[2] == "◔ measured"
    assert window.parts.takes_panel.buttons["takes_retry"].isVisible()
    (day / "near.away").rename(bad)
    (day / "side.away").rename(day / "Take 2" / "side.wav")
    work(window, "takes_retry", qtbot)
    assert texts(model, STATE) == ["◔ measured"] * 5
    assert not window.parts.takes_panel.buttons["takes_retry"].isVisible()


def test_the_next_take_is_looked_at_as_the_one_before(
    window: DeskWindow, questions: FakeQuestions, player: FakePlayer, measured: Path, qtbot: QtBot
) -> None:
    with_list(window, questions, measured, qtbot)
    key(window, Qt.Key.Key_PageDown, qtbot)
    qtbot.waitUntil(lambda: window.parts.store.session is not None, timeout=20_000)
    wait_until_drawn(window, qtbot)
    session = window.parts.store.session
    assert session is not None and session.name == "Take 1"
    assert texts(window.parts.takes_panel.model, TAKE)[0] == "▶ Take 1"

    stack, times = window.parts.lanes.stack, window.parts.times
    window.parts.edits.loop((24_000, 48_000))
    window.parts.playing.set_looping(True)
    window.parts.playing.seek(30_000)
    window.parts.playing.poll()
    stack.select(stack.selection.only(session.lane_named("side").id))
    times.show_range(20_000, 50_000)
    view = times.view
    questions.unsaved_answer = "discard"

    key(window, Qt.Key.Key_PageDown, qtbot)
    qtbot.waitUntil(lambda: window.parts.store.name == "Take 2", timeout=20_000)
    wait_until_drawn(window, qtbot)
    other = window.parts.store.session
    assert other is not None and other.loop == (24_000, 48_000) and window.parts.playing.is_looping
    assert stack.selection.current == other.lane_named("side").id
    assert times.view == view
    assert player.now.position == 30_000
    assert not window.parts.store.is_modified


def test_a_take_saved_on_the_desk_is_told_in_its_line(
    window: DeskWindow, questions: FakeQuestions, measured: Path, qtbot: QtBot
) -> None:
    with_list(window, questions, measured, qtbot)
    window.commands.takes.open_take("Take 3")
    qtbot.waitUntil(lambda: window.parts.store.name == "Take 3", timeout=20_000)
    run(window, "accept_sound")
    assert texts(window.parts.takes_panel.model, STATE)[2] == "◔ measured"
    run(window, "save")
    assert texts(window.parts.takes_panel.model, STATE)[2] == "◑ lined up"


def test_what_is_begun_anew_on_the_desk_never_replaces_the_takes_session(
    window: DeskWindow, questions: FakeQuestions, measured: Path, qtbot: QtBot
) -> None:
    with_list(window, questions, measured, qtbot)
    day = window.parts.takes.day
    assert day is not None
    window.parts.store.open(open_take([measured / "Take 2"]).session)
    before = load(day.takes[1].session)
    work(window, "takes_accept_moved", qtbot)
    after = load(day.takes[1].session)
    assert after.alignment == before.alignment and after.current_version.origins
    assert window.parts.store.path is None and window.parts.store.session.alignment is None  # type: ignore[union-attr]
    assert texts(window.parts.takes_panel.model, TAKE)[1] == "▶ Take 2"


def test_the_line_follows_save_as_but_not_another_session_of_its_recordings(
    window: DeskWindow, questions: FakeQuestions, measured: Path, tmp_path: Path, qtbot: QtBot
) -> None:
    other = tmp_path / "other.lagline"
    save(open_take([measured / "Take 2"]).session, other)
    with_list(window, questions, measured, qtbot)
    day = window.parts.takes.day
    assert day is not None
    window.parts.files.open([other])
    qtbot.waitUntil(lambda: window.parts.store.path == other, timeout=20_000)
    assert window.parts.takes.day.take("Take 2") == day.take("Take 2")  # type: ignore[union-attr]

    window.commands.takes.open_take("Take 3")
    qtbot.waitUntil(lambda: window.parts.store.name == "Take 3", timeout=20_000)
    run(window, "accept_sound")
    elsewhere = tmp_path / "elsewhere.lagline"
    assert window.parts.keeping.save_at(elsewhere)
    line = window.parts.takes.day.take("Take 3")  # type: ignore[union-attr]
    assert line is not None and line.session == elsewhere and line.state == "lined up"


def test_the_take_on_the_desk_is_worked_on_there_and_can_be_undone(
    window: DeskWindow, questions: FakeQuestions, day: Path, qtbot: QtBot
) -> None:
    with_list(window, questions, day, qtbot)
    window.commands.takes.open_take("Take 1")
    qtbot.waitUntil(lambda: window.parts.store.session is not None, timeout=20_000)
    work(window, "takes_measure", qtbot)
    session, take = window.parts.store.session, window.parts.takes.day
    assert session is not None and session.alignment is not None and take is not None
    assert texts(window.parts.takes_panel.model, STATE) == ["◔ measured"] * 5
    assert load(take.takes[0].session).alignment == session.alignment
    assert window.parts.store.undo_name == "Work on the takes"
    assert questions.asked.count("save") == 0


def test_no_work_begins_while_the_takes_are_listed(
    window: DeskWindow, questions: FakeQuestions, day: Path, qtbot: QtBot
) -> None:
    with_list(window, questions, day, qtbot)
    qtbot.waitUntil(lambda: window.commands.takes._listing is None, timeout=10_000)
    window.commands.takes.make_list(ListWish((day,), "folder", ""))
    run(window, "takes_measure")
    assert not window.parts.takes_work.is_busy
    assert "are being listed" in window.parts.messages.text


def test_a_list_that_cannot_be_saved_is_said_once_and_stops_nothing(tmp_path: Path, qtbot: QtBot) -> None:
    store = TakesStore()
    said: list[str] = []
    store.problem.connect(said.append)
    day = told_day([{"near": -10.0, "room": 0.0}] * 2)
    store.open(replace(day, name="\udce9"), tmp_path / "x.lagline-day", None)
    store.settle()
    store.close()
    assert len(said) == 1 and said[0].startswith("The list of takes is not saved")


def test_a_line_takes_only_what_is_of_its_recordings(tmp_path: Path, qtbot: QtBot) -> None:
    store = TakesStore()
    day = told_day([{"near": -10.0, "room": 0.0}] * 2)
    path = tmp_path / "x.lagline-day"
    store.open(day, path, None)
    store.change_take(replace(day.takes[0], paths=(tmp_path / "other.wav",), error="of another take"))
    assert store.day == day
    store.settle()
    read = stamp(path)
    store.change_take(replace(day.takes[0], error="since it was read"))
    store.open(day, path, read)
    store.close()
    assert load_day(path) == day


def test_only_what_was_worked_on_is_said_to_have_failed(
    window: DeskWindow, questions: FakeQuestions, measured: Path, qtbot: QtBot
) -> None:
    with_list(window, questions, measured, qtbot)
    day = window.parts.takes.day
    assert day is not None
    window.parts.takes.change_take(replace(day.takes[4], error="of the work before"))
    window.parts.takes_panel.choose(["Take 1", "Take 2"])
    work(window, "takes_accept_moved", qtbot)
    assert texts(window.parts.takes_panel.model, STATE)[:2] == ["◑ lined up"] * 2
    assert "failed" not in window.parts.messages.text


def test_the_form_counts_what_it_will_deliver(tmp_path: Path, qtbot: QtBot) -> None:
    dialog = DeliverDialog(None, lambda wish: 3 if wish.options.overwrite else 0)
    qtbot.addWidget(dialog)
    assert not dialog.do.isEnabled()
    dialog.show_folder(tmp_path)
    assert not dialog.do.isEnabled() and "already" in dialog.told.text()
    dialog._replace.click()
    assert dialog.do.isEnabled() and dialog.told.text() == "Delivers 3 takes."


def test_takes_are_held_against_one_of_them(
    window: DeskWindow, questions: FakeQuestions, measured: Path, qtbot: QtBot
) -> None:
    with_list(window, questions, measured, qtbot)
    window.parts.takes_panel.choose(["Take 4", "Take 5"])
    work(window, "takes_accept_moved", qtbot)

    def hold(dialog: QDialog) -> None:
        assert isinstance(dialog, HoldDialog)
        dialog.choose("take", "Take 4")
        dialog.do.click()

    questions.with_dialog = hold
    run(window, "takes_setup")
    model = window.parts.takes_panel.model
    qtbot.waitUntil(lambda: texts(model, DIFFERS)[3] == "as usual", timeout=10_000)
    qtbot.waitUntil(lambda: texts(model, DIFFERS)[0].startswith("↔ side moved −48"), timeout=10_000)


def test_stopped_work_keeps_what_is_done(
    window: DeskWindow, questions: FakeQuestions, day: Path, qtbot: QtBot
) -> None:
    with_list(window, questions, day, qtbot)
    run(window, "takes_measure")
    with qtbot.waitSignal(window.parts.takes_work.outcome, timeout=60_000):
        pass
    window.commands.stop("Working on the takes")
    qtbot.waitUntil(lambda: not window.parts.takes_work.is_busy, timeout=60_000)
    states = texts(window.parts.takes_panel.model, STATE)
    assert "◔ measured" in states
    work(window, "takes_measure", qtbot)
    assert texts(window.parts.takes_panel.model, STATE) == ["◔ measured"] * 5


def test_takes_come_onto_the_list_when_they_are_finished(
    window: DeskWindow, questions: FakeQuestions, measured: Path, tmp_path: Path, qtbot: QtBot
) -> None:
    with_list(window, questions, measured, qtbot)
    for name in ("Take 6", "Take 7"):
        shutil.copytree(measured / "Take 1", measured / name, ignore=shutil.ignore_patterns("*.lagline*"))
    for name, written_s in (("Take 6", 1.0), ("Take 7", 4e9)):  # the other is being written to still
        for path in (measured / name).iterdir():
            os.utime(path, (written_s, written_s))
    run(window, "takes_watch")
    assert window.actions_by_id["takes_watch"].isChecked()
    model = window.parts.takes_panel.model
    qtbot.waitUntil(lambda: model.rowCount() == 6, timeout=20_000)
    qtbot.waitUntil(lambda: not window.parts.takes_work.is_busy, timeout=120_000)
    assert texts(model, TAKE)[-1] == "Take 6" and texts(model, STATE) == ["◔ measured"] * 6
    run(window, "takes_watch")
    assert not window.commands.watching.is_on


def test_the_preview_follows_the_pattern(
    window: DeskWindow, questions: FakeQuestions, tmp_path: Path, qtbot: QtBot
) -> None:
    folder = tmp_path / "flat"
    for take in (1, 2, 12):
        one = write_day(tmp_path / f"x{take}", 1) / "Take 1"
        folder.mkdir(exist_ok=True)
        for path in one.iterdir():
            path.rename(folder / f"{path.stem}_{take:02}.wav")
    dialog = ListDialog([folder])
    qtbot.addWidget(dialog)
    dialog.show()
    qtbot.waitUntil(lambda: dialog._found.rowCount() == 1, timeout=10_000)  # the folder is one take
    dialog.told_by.choose("number")
    qtbot.waitUntil(lambda: dialog._found.rowCount() == 3, timeout=10_000)
    assert [dialog._found.item(row, 0).text() for row in range(3)] == ["Take 1", "Take 2", "Take 12"]  # type: ignore[union-attr]
    dialog.told_by.choose("name")
    dialog.pattern.setText("{lane}_{take}")
    qtbot.waitUntil(lambda: dialog._found.rowCount() == 3, timeout=10_000)
    dialog.pattern.setText("nonsense")
    qtbot.waitUntil(lambda: "nonsense" in dialog._said.text(), timeout=10_000)
    assert not dialog._make.isEnabled()
    dialog.reject()


def test_the_model_keeps_qts_rules(qtbot: QtBot) -> None:
    model = TakesModel()
    tester = QAbstractItemModelTester(model, QAbstractItemModelTester.FailureReportingMode.Fatal)
    day = told_day([{"near": -10.0, "room": 0.0}] * 4)
    model.show_day(day)
    model.show_differences({take.name: () for take in day.takes})
    model.show_open("Take 2")
    model.show_day(None)
    assert tester.model() is model and model.rowCount() == 0
