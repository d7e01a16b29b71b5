"""One lane: its header beside its waveform. Adds the lane's id to what they report."""

from __future__ import annotations

from msgspec.structs import replace
from PySide6.QtCore import QPoint, Qt, QTimer, Signal
from PySide6.QtGui import QContextMenuEvent, QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QWidget

from lagline.desk.lanes.lane_header import LaneHeader, LaneState
from lagline.desk.lanes.lane_meter import BAR_WIDTH, LaneMeter
from lagline.desk.lanes.lane_wave import LaneWave
from lagline.desk.lanes.wave_data import WaveData
from lagline.desk.theme import GAP, TARGET

FOLDED_HEIGHT = TARGET + 2 * GAP
LEAST_HEIGHT = 2 * TARGET + 5 * GAP
FIGURES_MS = 40


class LaneRow(QWidget):
    """One lane: its head and its wave. Tells what the hand does to it; edits nothing."""

    pressed = Signal(str, Qt.KeyboardModifier)
    clicked_at = Signal(str, float)
    drag_started = Signal(str, float)
    dragged = Signal(str, float, bool, bool)
    drag_ended = Signal(str)
    swept = Signal(str, float, float, float)  # from x to x, and y in the stack
    reorder_dragged = Signal(str, float)  # y in the stack
    reorder_ended = Signal(str)
    rename_requested = Signal(str)
    anchor_requested = Signal(str)
    polarity_requested = Signal(str, int)
    mute_requested = Signal(str, bool)
    solo_requested = Signal(str, bool)
    gain_requested = Signal(str, float)
    pan_requested = Signal(str, float)
    shift_requested = Signal(str, float)
    fold_requested = Signal(str, bool)
    menu_requested = Signal(str, QPoint, bool)  # where on the screen, and whether on the wave

    def __init__(self, lane_id: str, data: WaveData, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.lane_id = lane_id
        self._state: LaneState | None = None
        self._is_dragged = False
        self._figures = QTimer(
            self
        )  # the header's figures follow a drag at this pace, the wave at every step
        self._figures.setSingleShot(True)
        self._figures.setInterval(FIGURES_MS)
        self._figures.timeout.connect(self._show_figures)
        self.header = LaneHeader()
        self.meter = LaneMeter(self.header)
        self.wave = LaneWave(data, can_shift=True)
        line = QHBoxLayout(self)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(0)
        line.addWidget(self.header)
        line.addWidget(self.wave, 1)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._connect()

    def _connect(self) -> None:
        header, wave = self.header, self.wave
        header.pressed.connect(self._say_pressed)
        header.reorder_dragged.connect(self._say_reorder)
        header.reorder_ended.connect(self._say_reorder_ended)
        header.rename_requested.connect(self._say_rename)
        header.anchor_requested.connect(self._say_anchor)
        header.polarity_requested.connect(self._say_polarity)
        header.mute_requested.connect(self._say_mute)
        header.solo_requested.connect(self._say_solo)
        header.gain_requested.connect(self._say_gain)
        header.pan_requested.connect(self._say_pan)
        header.shift_requested.connect(self._say_shift)
        header.fold_requested.connect(self._say_fold)
        wave.pressed.connect(self._say_wave_pressed)
        wave.clicked.connect(self._say_clicked)
        wave.drag_started.connect(self._say_drag_started)
        wave.dragged.connect(self._say_dragged)
        wave.drag_ended.connect(self._say_drag_ended)
        wave.swept.connect(self._say_swept)

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._place_meter()

    def set_header_width(self, width: int) -> None:
        """How wide the header is, in pixels."""
        self.header.set_width(width)
        self._place_meter()

    def _place_meter(self) -> None:
        left = self.header.maximumWidth() - BAR_WIDTH - 1
        self.meter.setGeometry(left, GAP, BAR_WIDTH, max(self.height() - 2 * GAP, 0))

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        is_wave = self.wave.geometry().contains(event.pos())
        self.menu_requested.emit(self.lane_id, event.globalPos(), is_wave)

    def show_state(self, state: LaneState) -> None:
        """Show the lane as it is now; redraws only what has changed."""
        old, self._state = self._state, state
        if state == old:
            return
        has_only_moved = old is not None and replace(old, move=state.move) == state
        if has_only_moved and self._figures.isActive():
            return
        self.header.show_state(state)
        if has_only_moved:  # nothing else of it is new
            if self._is_dragged:
                self._figures.start()
            return
        self.setMinimumHeight(FOLDED_HEIGHT if state.is_folded else LEAST_HEIGHT)
        self.setMaximumHeight(FOLDED_HEIGHT if state.is_folded else 16_777_215)
        self.wave.setAccessibleName(f"Waveform of {state.lane.name}")

    def _say_pressed(self, modifiers: Qt.KeyboardModifier) -> None:
        self.pressed.emit(self.lane_id, modifiers)

    def _say_wave_pressed(self, x: float, modifiers: Qt.KeyboardModifier) -> None:
        # In the waveform Shift and Ctrl change the drag: they don't choose several lanes there.
        self.pressed.emit(self.lane_id, Qt.KeyboardModifier.NoModifier)

    def _say_reorder(self, y: float) -> None:
        self.reorder_dragged.emit(self.lane_id, self.y() + y)

    def _say_reorder_ended(self) -> None:
        self.reorder_ended.emit(self.lane_id)

    def _say_rename(self) -> None:
        self.rename_requested.emit(self.lane_id)

    def _say_anchor(self) -> None:
        self.anchor_requested.emit(self.lane_id)

    def _say_polarity(self, polarity: int) -> None:
        self.polarity_requested.emit(self.lane_id, polarity)

    def _say_mute(self, mute: bool) -> None:
        self.mute_requested.emit(self.lane_id, mute)

    def _say_solo(self, solo: bool) -> None:
        self.solo_requested.emit(self.lane_id, solo)

    def _say_gain(self, gain_db: float) -> None:
        self.gain_requested.emit(self.lane_id, gain_db)

    def _say_pan(self, pan: float) -> None:
        self.pan_requested.emit(self.lane_id, pan)

    def _say_shift(self, shift_samples: float) -> None:
        self.shift_requested.emit(self.lane_id, shift_samples)

    def _say_fold(self, folded: bool) -> None:
        self.fold_requested.emit(self.lane_id, folded)

    def _show_figures(self) -> None:
        if self._state is not None:
            self.header.show_state(self._state)

    def _say_drag_started(self, x: float) -> None:
        self._is_dragged = True
        self.drag_started.emit(self.lane_id, x)

    def _say_dragged(self, x: float, fine: bool, free: bool) -> None:
        self.dragged.emit(self.lane_id, x, fine, free)

    def _say_clicked(self, x: float) -> None:
        self.clicked_at.emit(self.lane_id, x)

    def _say_swept(self, from_x: float, to_x: float, y: float) -> None:
        self.swept.emit(self.lane_id, from_x, to_x, self.y() + y)

    def _say_drag_ended(self) -> None:
        self._is_dragged = False
        self._figures.stop()
        self._show_figures()
        self.drag_ended.emit(self.lane_id)
