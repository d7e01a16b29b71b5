"""What takes long shows its progress and can be stopped; a hovered passage is shown."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest
from PySide6.QtCore import QPointF, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QPushButton
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus
from tests.support.desk_hands import press

from lagline.desk import take_files
from lagline.desk.foot import Foot
from lagline.desk.window import DeskWindow
from lagline.errors import NoRecordings
from lagline.session.values import Session


def stop_button(foot: Foot) -> QPushButton:
    return next(button for button in foot.findChildren(QPushButton) if button.text() == "Stop")


@pytest.fixture
def exporting_foot(qtbot: QtBot) -> Foot:
    foot = Foot()
    qtbot.addWidget(foot)
    foot.show()
    foot.show_task("Delivering", 0.2)
    qtbot.waitUntil(lambda: stop_button(foot).isVisible(), timeout=2_000)
    return foot


def test_the_foot_goes_back_to_what_still_runs(exporting_foot: Foot, qtbot: QtBot) -> None:
    foot = exporting_foot
    foot.show_task("Measuring tone", None)
    assert foot.task == "Measuring tone"
    foot.hide_task("Measuring tone")
    assert foot.task == "Delivering"
    with qtbot.waitSignal(foot.stop_requested) as asked:
        QTest.mouseClick(stop_button(foot), Qt.MouseButton.LeftButton)
    assert asked.args == ["Delivering"]
    foot.hide_task("Delivering")
    assert foot.task == "" and not stop_button(foot).isVisible()


def test_what_cannot_be_stopped_does_not_hide_what_can(exporting_foot: Foot, qtbot: QtBot) -> None:
    foot = exporting_foot
    foot.show_task("Reading recordings", 0.5, can_stop=False)
    assert foot.task == "Delivering" and stop_button(foot).isVisible()
    with qtbot.waitSignal(foot.stop_requested) as asked:
        QTest.mouseClick(stop_button(foot), Qt.MouseButton.LeftButton)
    assert asked.args == ["Delivering"]
    foot.hide_task("Delivering")
    assert foot.task == "Reading recordings" and foot._task.text() == "Reading recordings"
    assert not foot.can_stop and not stop_button(foot).isVisible()


def test_escape_stops_what_can_be_stopped_beside_reading(desk: DeskWindow, qtbot: QtBot) -> None:
    desk.commands.view.run("tab_3")
    focus(desk.parts.lanes.stack, qtbot)
    qtbot.waitUntil(lambda: not desk.parts.foot.task, timeout=20_000)
    desk.parts.side.tabs.tone.ask_again()
    desk.parts.foot.show_task("Reading recordings", 0.5, can_stop=False)
    press(desk, "Esc")
    assert desk.parts.foot.task == "Reading recordings"
    desk.parts.messages.show_problem("Something to close.")
    press(desk, "Esc")  # nothing can be stopped now
    assert desk.parts.messages.text == ""
    desk.parts.foot.hide_task("Reading recordings")
    assert desk.parts.foot.task == ""


def test_opening_can_be_given_up(
    desk: DeskWindow, take: Session, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot
) -> None:
    go_on = threading.Event()
    real = take_files.open_take

    def slow(*arguments: object, **named: object) -> object:
        go_on.wait(10)
        return real(*arguments, **named)

    monkeypatch.setattr(take_files, "open_take", slow)
    before = desk.parts.store.session
    desk.parts.files.add_paths([take.lanes[0].source.path])
    qtbot.waitUntil(lambda: stop_button(desk.parts.foot).isVisible(), timeout=2_000)
    QTest.mouseClick(stop_button(desk.parts.foot), Qt.MouseButton.LeftButton)
    assert desk.parts.foot.task == ""
    go_on.set()
    qtbot.wait(200)
    assert desk.parts.store.session is before


@pytest.mark.parametrize("stops_first", [True, False])
def test_opening_again_while_the_last_opening_still_reads(
    stops_first: bool, window: DeskWindow, take: Session, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot
) -> None:
    go_on, real = threading.Event(), take_files.open_take
    first, second = take.lanes[0].source.path, take.lanes[1].source.path

    def slow(paths: list[Path], **named: object) -> object:
        if list(paths) == [first]:
            go_on.wait(10)
        return real(paths, **named)

    monkeypatch.setattr(take_files, "open_take", slow)
    files, foot = window.parts.files, window.parts.foot
    titles: list[str] = []
    files.busy.connect(titles.append)
    files.open([first])
    qtbot.waitUntil(lambda: stop_button(foot).isVisible(), timeout=2_000)
    if stops_first:
        QTest.mouseClick(stop_button(foot), Qt.MouseButton.LeftButton)
    files.open([second])
    qtbot.waitUntil(lambda: window.parts.store.session is not None, timeout=5_000)
    qtbot.waitUntil(lambda: foot.task != "Opening recordings", timeout=5_000)
    told = len(titles)
    go_on.set()
    qtbot.waitUntil(lambda: not files._unfinished, timeout=5_000)
    qtbot.wait(50)
    assert [lane.source.path for lane in window.parts.store.session.lanes] == [second]
    assert len(titles) == told  # the end of what was given up is nobody's news


def test_closing_waits_for_all_that_still_reads(
    window: DeskWindow, take: Session, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot
) -> None:
    ended: list[Path] = []
    paths = [lane.source.path for lane in take.lanes]

    def slow(chosen: list[Path], **_named: object) -> object:
        time.sleep(0.6 if chosen[0] == paths[0] else 0.1)
        ended.append(chosen[0])
        raise NoRecordings([])

    monkeypatch.setattr(take_files, "open_take", slow)
    for path in paths:
        window.parts.files.open([path])
    window.parts.files.close()
    assert sorted(ended) == sorted(paths)


def test_escape_stops_measuring_tone(desk: DeskWindow, qtbot: QtBot) -> None:
    desk.commands.view.run("tab_3")
    focus(desk.parts.lanes.stack, qtbot)
    desk.parts.side.tabs.tone.ask_again()
    assert desk.parts.foot.task == "Measuring tone"
    press(desk, "Esc")
    assert desk.parts.foot.task == ""
    qtbot.wait(300)
    assert not desk.parts.side.tabs.tone.change.has_plot
    desk.commands.view.run("tab_1")
    desk.commands.view.run("tab_3")
    assert desk.parts.foot.task == "Measuring tone"
    qtbot.waitUntil(lambda: desk.parts.side.tabs.tone.change.has_plot, timeout=20_000)


def test_a_hovered_passage_is_brought_into_view_and_marked(desk: DeskWindow, qtbot: QtBot) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    with qtbot.waitSignal(desk.parts.measuring.over, timeout=60_000):
        press(desk, "Ctrl+M")
    press(desk, "Z")
    plot = desk.parts.side.tabs.evidence.over_time
    desk.parts.side.tabs.evidence.tabs.setCurrentWidget(plot)
    qtbot.waitUntil(lambda: plot.has_plot)
    qtbot.wait(50)
    here = desk.parts.playing.state.position_samples
    box = plot.plot.getPlotItem().getViewBox()
    dot = box.mapViewToScene(QPointF(float(plot._time[-1]), float(plot._arrival[-1])))
    plot._mouse_moved(dot)
    sample = float(plot._time[-1]) * 48_000
    assert desk.parts.lanes.ruler.pointed == pytest.approx(sample)
    first, last = desk.parts.times.seen
    assert first <= sample <= last
    assert desk.parts.playing.state.position_samples == here  # only a click takes the playhead along
    plot.leaveEvent(None)
    assert desk.parts.lanes.ruler.pointed is None


def test_linked_lanes_say_so(desk: DeskWindow, qtbot: QtBot) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    press(desk, "Shift+Down")
    press(desk, "Ctrl+L")
    stack = desk.parts.lanes.stack
    header = stack.row(stack.order[0]).header
    assert header._link.isVisible() and "side" in header._link.toolTip()
    assert not stack.row(stack.order[2]).header._link.isVisible()
    press(desk, "Ctrl+L")
    assert not header._link.isVisible()
