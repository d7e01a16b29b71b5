"""Ruler and overview above, lanes in the middle, the sum below: one view of time for all of them."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QSize, Qt, Signal
from PySide6.QtGui import QMouseEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QScrollBar, QSplitter, QToolButton, QVBoxLayout, QWidget

from lagline.desk.amounts import number_text
from lagline.desk.lanes.lane_header import HEADER_WIDTH
from lagline.desk.lanes.lane_stack import LaneStack
from lagline.desk.lanes.overview_bar import OverviewBar
from lagline.desk.lanes.ruler import HEIGHT as RULER_HEIGHT
from lagline.desk.lanes.ruler import Ruler
from lagline.desk.lanes.sum_row import SumRow
from lagline.desk.lanes.version_plate import VersionPlate
from lagline.desk.lanes.wave_data import WaveData
from lagline.desk.theme import GAP, PAD, TARGET
from lagline.desk.timeview import TimeViewModel
from lagline.desk.transport_state import TransportState
from lagline.session.trying import with_before
from lagline.session.values import Session

LEAST_WAVE = 160
LEAST_HEADER, MOST_HEADER = HEADER_WIDTH, 480
EDGE = 6  # pixels of the corner's right edge that take hold of the width


class WidthEdge(QWidget):
    """The edge between headers and waves, beside the ruler: drag it, or double-click for the usual width."""

    dragged_to = Signal(int)  # pixels from the left of its parent

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setCursor(Qt.CursorShape.SplitHCursor)
        self.setToolTip("Drag to make the lanes' headers wider")

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        self.dragged_to.emit(round(self.x() + event.position().x()) + EDGE // 2)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        event.accept()

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        self.dragged_to.emit(HEADER_WIDTH)


class LaneArea(QWidget):
    """Ruler, lanes and the sum below them, over one time axis; follows the playhead."""

    seek_requested = Signal(float)
    drags_shift_toggled = Signal()

    def __init__(self, data: WaveData, times: TimeViewModel, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._times = times
        self._follows = True
        self._rests = self._was_playing = False
        self.stack = LaneStack(data, times)
        self.ruler = Ruler(times)
        self.overview = OverviewBar(data, times)
        self.sum = SumRow(data, times)
        self._facts = QLabel()
        self._facts.setProperty("muted", True)
        self.zoom = QLabel()
        self.zoom.setProperty("muted", True)
        # Its text changes with every step of the wheel: at a fixed size, on a ground of its own, that lays
        # nothing out anew and repaints nothing else.
        self.plate = VersionPlate(HEADER_WIDTH)
        self.zoom.setAutoFillBackground(True)
        self.zoom.setContentsMargins(PAD + 4, 0, PAD, 0)
        self.zoom.setAccessibleName("Zoom")
        self.zoom.setAlignment(Qt.AlignmentFlag.AlignVCenter)
        self._corner = corner = QWidget()
        corner.setFixedHeight(RULER_HEIGHT)
        stacked = QVBoxLayout(corner)
        stacked.setContentsMargins(0, 0, 0, 0)
        stacked.setSpacing(0)
        stacked.addWidget(self.zoom)
        stacked.addWidget(self.plate)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(1)
        self._edges: list[QWidget] = []
        for left, right in ((self._head(), self.overview), (corner, self.ruler)):
            column.addLayout(self._line(left, right))
        below = QWidget()
        below.setLayout(self._line(self.sum))
        self.heights = QSplitter(Qt.Orientation.Vertical)
        self.heights.setChildrenCollapsible(False)
        for stretch, part in ((1, self.stack), (0, below)):
            self.heights.addWidget(part)
            self.heights.setStretchFactor(self.heights.count() - 1, stretch)
        column.addWidget(self.heights, 1)
        self._edge = WidthEdge(corner)
        self._edge.dragged_to.connect(self.set_header_width)
        self.set_header_width(HEADER_WIDTH)
        self.stack.seek_requested.connect(self.seek_requested)
        self.sum.seek_requested.connect(self.seek_requested)
        self.ruler.seek_requested.connect(self.seek_requested)
        self.stack.height_zoom_changed.connect(self._show_height_zoom)
        self.sum.wave.height_zoom_requested.connect(self.stack.zoom_height)
        self.stack.verticalScrollBar().installEventFilter(self)
        times.changed.connect(self._show_zoom)
        self._height_zoom_db = 0.0
        self.setFocusProxy(self.stack)

    @property
    def header_width(self) -> int:
        """Of the lanes, in pixels."""
        return self._corner.maximumWidth()

    def set_header_width(self, width: int) -> None:
        """How wide the lanes' headers are, in pixels; what lies above and below them goes along."""
        width = min(max(width, LEAST_HEADER), MOST_HEADER)
        for part in (self._head_box, self._corner, self.sum.header):
            part.setFixedWidth(width)
        self.plate.set_width(width)
        self.zoom.setFixedSize(width, RULER_HEIGHT - self.plate.height())
        self.stack.set_header_width(width)
        self._edge.setGeometry(width - EDGE, 0, EDGE, RULER_HEIGHT)
        self._edge.raise_()

    def _head(self) -> QWidget:
        """What the take is, and what a drag does."""
        self._drags = QToolButton()
        self._drags.setText("⟷")
        self._drags.setCheckable(True)
        self._drags.setFixedSize(TARGET + GAP, TARGET)
        self._drags.setToolTip(
            "Drag to shift lanes; else a drag chooses time, and a lane's grip shifts it (V)"
        )
        self._drags.setAccessibleName("Drag to shift lanes")
        self._drags.clicked.connect(self.drags_shift_toggled)
        self._head_box = head = QWidget()
        across = QHBoxLayout(head)
        across.setContentsMargins(0, 0, PAD, 0)
        across.addWidget(self._facts, 1)
        across.addWidget(self._drags)
        self._facts.setContentsMargins(PAD + 4, 0, PAD, 0)
        self._facts.setAccessibleName("Take")
        return head

    def _line(self, *parts: QWidget) -> QHBoxLayout:
        """A line as wide as the lanes: it ends where their scroll bar begins."""
        line = QHBoxLayout()
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(0)
        for part in parts[:-1]:
            line.addWidget(part)
        line.addWidget(parts[-1], 1)
        edge = QWidget()
        edge.setFixedWidth(0)
        self._edges.append(edge)
        line.addWidget(edge)
        return line

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if isinstance(watched, QScrollBar) and event.type() in (QEvent.Type.Show, QEvent.Type.Hide):
            width = watched.width() if event.type() == QEvent.Type.Show else 0
            for edge in self._edges:
                edge.setFixedWidth(width)
        return False

    def minimumSizeHint(self) -> QSize:
        # A wish of the whole area. In a window too small for it the waveforms alone give way, all alike: were
        # each to insist, the sum's header would be squeezed and the lanes' ends cut off.
        least = super().minimumSizeHint()
        return QSize(max(least.width(), self.header_width + LEAST_WAVE), least.height())

    def let_drags_shift(self, on: bool) -> None:
        """Whether a drag over a wave shifts its lane; else it chooses a stretch of time."""
        self.stack.let_drags_shift(on)
        self._drags.setChecked(on)

    def let_follow(self, follows: bool) -> None:
        """Whether the view goes along with the playhead."""
        self._follows = follows

    def rest_view(self) -> None:
        """Until it stops, or is asked for anew, playing leaves the view where it is."""
        self._rests = True

    def point_at(self, sample: float | None) -> None:
        """Mark a place on the ruler and the overview, without moving the playhead; None takes it away."""
        self.ruler.point_at(sample)
        self.overview.point_at(sample)

    def show_session(self, session: Session | None) -> None:
        """Show the lanes of a session; None empties the area."""
        if session is not None:
            self._times.set_span(session.span(session.current_version))
            count = len(session.lanes)
            self._facts.setText(f"{count} lane{'s' if count != 1 else ''} · {session.rate_hz / 1000:g} kHz")
            self.ruler.show_rate(session.rate_hz)
            self.ruler.show_markers(session.markers)
        self.plate.show_session(session)
        self.stack.show_session(session)
        self.sum.show_session(with_before(session) if session is not None else None)
        self._show_zoom()

    def show_transport(self, state: TransportState) -> None:
        """Put the playhead where playback is, and follow it if that is wanted."""
        position = state.position_samples
        if not state.is_playing:
            self._rests = self._rests and not self._was_playing
        elif self._follows and not self._rests:
            self._times.reveal(position)
        self._was_playing = state.is_playing
        self.ruler.show_playhead(position)
        self.stack.show_playhead(position)
        self.stack.show_levels(state)
        self.sum.show_playhead(position)
        self.sum.show_heard(state.heard_id)
        self.plate.show_heard(state.heard_id)

    def _show_height_zoom(self, zoom_db: float) -> None:
        self._height_zoom_db = zoom_db
        self.sum.show_zoom(zoom_db)
        self._show_zoom()

    def _show_zoom(self) -> None:
        per_pixel = self._times.view.per_pixel
        along = (
            f"{per_pixel:,.0f} samples a pixel".replace(",", "\N{NARROW NO-BREAK SPACE}")
            if per_pixel >= 10
            else f"{per_pixel:.2g} samples a pixel"
            if per_pixel >= 1
            else f"{1 / per_pixel:.2g} pixels a sample"
        )
        zoom = self._height_zoom_db
        self.zoom.setText(along + (f" · {number_text(zoom, 0, signed=True)} dB" if zoom else ""))
