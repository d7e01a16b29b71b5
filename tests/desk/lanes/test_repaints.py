"""What a step of the hand repaints: what changed, and no widget under or beside it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator

import pytest
from PySide6.QtCore import QEvent, QObject
from PySide6.QtWidgets import QApplication, QWidget

from lagline.desk.window import DeskWindow


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
def watch(desk: DeskWindow, qapp: QApplication) -> Iterator[Watching]:
    """What one step repaints."""
    filters: list[Watch] = []

    def watch(step: Callable[[], object]) -> Watch:
        filters.append(Watch())
        qapp.installEventFilter(filters[-1])
        step()
        qapp.sendPostedEvents()
        qapp.processEvents()
        qapp.removeEventFilter(filters[-1])
        return filters[-1]

    yield watch


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
