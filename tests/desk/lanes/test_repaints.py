"""What a step of the hand repaints: what changed, and no widget under or beside it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from functools import partial

import pytest
from PySide6.QtCore import QEvent, QObject
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from lagline.desk.lanes.sum_row import sum_id
from lagline.desk.transport_state import TransportState
from lagline.desk.window import DeskWindow
from lagline.session.values import ORIGINAL_ID


class Watch(QObject):
    """Counts paint events by widget, and requests to lay something out anew."""

    def __init__(self) -> None:
        super().__init__()
        self.painted: Counter[QWidget] = Counter()
        self.laid_out: list[str] = []

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() == QEvent.Type.Paint and isinstance(watched, QWidget):
            self.painted[watched] += 1
        if event.type() == QEvent.Type.LayoutRequest:
            self.laid_out.append(type(watched).__name__)
        return False

    def names(self) -> set[str]:
        return {widget.accessibleName() or type(widget).__name__ for widget in self.painted}


Watching = Callable[[Callable[[], object]], Watch]


@pytest.fixture
def watch(desk: DeskWindow, qapp: QApplication, qtbot: QtBot) -> Iterator[Watching]:
    """What one step repaints: neither what earlier ones left to be done, which a slow machine does late, nor
    what timers and threads come with meanwhile."""
    filters: list[Watch] = []

    def watch(step: Callable[[], object]) -> Watch:
        qtbot.waitUntil(desk.is_drawn, timeout=20_000)
        earlier = Watch()
        qapp.installEventFilter(earlier)
        qtbot.waitUntil(lambda: is_quiet(qapp, earlier), timeout=20_000)
        qapp.removeEventFilter(earlier)
        filters.extend((earlier, Watch()))
        qapp.installEventFilter(filters[-1])
        step()
        qapp.sendPostedEvents()  # with what they post in turn: layouts, then paint events
        qapp.removeEventFilter(filters[-1])
        return filters[-1]

    yield watch


def is_quiet(qapp: QApplication, watch: Watch) -> bool:
    watch.painted.clear()
    qapp.processEvents()
    qapp.sendPostedEvents()  # with what timers have just asked for
    return not watch.painted


def waves(desk: DeskWindow) -> set[QWidget]:
    stack = desk.parts.lanes.stack
    return {stack.row(lane_id).wave for lane_id in stack.order}


def test_a_step_of_zoom_repaints_each_view_of_time_once(desk: DeskWindow, watch: Watching) -> None:
    desk.parts.times.zoom(1.3)
    found = watch(lambda: desk.parts.times.zoom(1.3))
    lanes = desk.parts.lanes
    assert set(found.painted) - waves(desk) - {lanes.sum.wave, lanes.ruler, lanes.overview} == {lanes.zoom}
    assert waves(desk) <= set(found.painted)
    assert set(found.painted.values()) == {1}
    assert not found.laid_out


def test_a_step_of_a_drag_repaints_the_lane_and_its_figures_only(desk: DeskWindow, watch: Watching) -> None:
    desk.commands.listen.hear("v1")  # the first step would switch to what it edits
    stack = desk.parts.lanes.stack
    stack.show_playhead(20_000.0)
    near = stack.row(stack.order[0])
    stack.hand.start(desk.parts.store.session, near.lane_id, 100.0)
    for x in (130.0, 150.0):  # the ghost and the figures come into view
        watch(partial(stack.hand.move, near.lane_id, x, False, True))
    found = watch(partial(stack.hand.move, near.lane_id, 170.0, False, True))
    stack.hand.end(near.lane_id)
    beside = {
        widget for widget in found.painted if not (near.header is widget or near.header.isAncestorOf(widget))
    }
    assert beside == {near.wave}
    assert set(found.painted.values()) == {1}
    assert not found.laid_out


def test_the_sum_is_repainted_when_more_of_it_is_known(desk: DeskWindow, watch: Watching) -> None:
    row, data = desk.parts.lanes.sum, desk.parts.sounds.data
    assert not watch(row.refresh).painted
    data.touch(sum_id(ORIGINAL_ID))
    assert set(watch(row.refresh).painted) == {row.wave}


def test_a_step_of_the_playhead_leaves_the_picture_of_a_whole_repaint(
    desk: DeskWindow, watch: Watching
) -> None:
    lanes = desk.parts.lanes
    for sample in (10_000.0, 20_000.0, 20_600.0, 41_000.0):
        found = watch(partial(lanes.show_transport, TransportState(position_samples=sample)))
        assert set(found.painted) == waves(desk) | {lanes.sum.wave, lanes.ruler}
    step_by_step = on_screen(desk)
    watch(lambda: [widget.update() for widget in (*waves(desk), lanes.ruler, lanes.sum.wave)])
    assert on_screen(desk) == step_by_step


def on_screen(desk: DeskWindow) -> QImage:
    """What was painted, without painting anything."""
    return desk.screen().grabWindow(desk.winId()).toImage()
