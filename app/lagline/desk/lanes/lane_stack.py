"""All lanes of the take, one above the other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from PySide6.QtCore import QEvent, QPoint, Qt, QTimer, Signal
from PySide6.QtWidgets import QFrame, QScrollArea, QVBoxLayout, QWidget

from lagline.desk.amounts import Unit, shift_in_all_units
from lagline.desk.lanes.drag_hand import DragHand
from lagline.desk.lanes.lane_header import HEADER_WIDTH, LaneState
from lagline.desk.lanes.lane_meter import lane_level_db
from lagline.desk.lanes.lane_row import LaneRow
from lagline.desk.lanes.looks import StackLook, look_of
from lagline.desk.lanes.selection import Selection
from lagline.desk.lanes.wave_data import WaveData
from lagline.desk.theme import Theme, theme_of
from lagline.desk.timeview import TimeViewModel
from lagline.desk.transport_state import TransportState
from lagline.session.colours import lane_colours
from lagline.session.edits import linked_lanes
from lagline.session.values import Lane, Session

ROWS_AT_ONCE = 2  # each takes some milliseconds
READ_OUT_MS = 1200  # how long the figures stay after a nudge by key


class LaneStack(QScrollArea):
    """Shows the lanes of a session; every hand on them becomes a request with the lane's id."""

    selection_changed = Signal(object)  # Selection
    seek_requested = Signal(float)  # session sample
    pointed = Signal(str, float)  # a click on a lane while it points, at this session sample
    shift_requested = Signal(str, float, str)  # shift in samples, undo group ("" for a step of its own)
    shift_settled = Signal(str)  # the drag is over
    order_requested = Signal(list)
    rename_requested = Signal(str)
    anchor_requested = Signal(str)
    polarity_requested = Signal(str, int)
    mute_requested = Signal(str, bool)
    solo_requested = Signal(str, bool)
    gain_requested = Signal(str, float)
    pan_requested = Signal(str, float)
    refused = Signal(str)
    menu_requested = Signal(str, QPoint, bool)  # of a lane; where on the screen, and whether on its wave
    height_zoom_changed = Signal(float)  # dB

    def __init__(self, data: WaveData, times: TimeViewModel, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._data, self._times = data, times
        self._session: Session | None = None
        self._rows: dict[str, LaneRow] = {}
        self._peaks: dict[str, float] = {}
        self._shown: dict[str, tuple[object, ...]] = {}  # what each row was last drawn from
        self._folded: set[str] = set()
        self._selection = Selection()
        self._unit: Unit = "samples"
        self._distance: Unit = "m"
        self._anchor_behind = False
        self._height_zoom_db = 0.0
        self._playhead: float | None = None
        self.drags_shift = False
        self._points = False
        self._header_width = HEADER_WIDTH
        self._marks: dict[str, float] = {}  # session samples of the lanes as recorded, by lane id
        self._read_out_of: tuple[str, ...] = ()
        self._row_timer = QTimer(self)
        self._row_timer.setSingleShot(True)
        self._row_timer.timeout.connect(self._add_more_rows)
        self._read_out_timer = QTimer(self)
        self._read_out_timer.setSingleShot(True)
        self._read_out_timer.timeout.connect(self.hide_read_out)
        self.hand = DragHand(times, self)
        self.hand.shift_asked.connect(self.shift_requested)
        self.hand.ended.connect(self._end_drag)
        body = QWidget()
        self._column = QVBoxLayout(body)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(1)
        self.setWidget(body)
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAsNeeded)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Lanes")
        self.setAccessibleDescription(
            "Up and Down choose a lane, Left and Right shift it by a sample. F1 shows every key."
        )
        times.changed.connect(self.refresh)
        times.chosen_changed.connect(self._show_chosen)

    @property
    def selection(self) -> Selection:
        return self._selection

    @property
    def order(self) -> list[str]:
        return [lane.id for lane in self._session.lanes] if self._session else []

    @property
    def is_complete(self) -> bool:
        """Whether every lane has its row."""
        return len(self._rows) == len(self.order)

    def row(self, lane_id: str) -> LaneRow:
        if lane_id not in self._rows:
            self._add_rows(len(self.order))
            self.refresh()
        return self._rows[lane_id]

    # showing

    def show_session(self, session: Session | None) -> None:
        old = self.order
        self._session = session
        if session is None:
            self._folded.clear()
            self.reset_height()
        if self.order != old:
            self._set_rows(session)
        if self._selection.within(self.order) != self._selection:
            self.select(self._selection.within(self.order))
        self.refresh()

    def show_unit(self, unit: Unit) -> None:
        self._unit = unit
        self._distance = unit if unit in ("m", "cm", "ft", "in") else self._distance
        self.refresh()

    def show_anchor_behind(self, on: bool) -> None:
        self._anchor_behind = on
        self.refresh()

    def show_playhead(self, sample: float | None) -> None:
        self._playhead = sample
        x = None if sample is None else self._times.view.x_of(sample)
        for row in self._rows.values():
            row.wave.show_playhead(x)

    def show_levels(self, state: TransportState) -> None:
        """How loud each lane is at the playhead; nothing of it in a blind trial."""
        session, overviews = self._session, self._data.overviews()
        heard = None if session is None or not state.is_playing else state.heard_id
        version = None
        if session is not None and heard is not None:
            version = session.version(heard) if session.has_version(heard) else session.original
        audible = {lane.id for lane in session.audible_lanes(version)} if session and version else set()
        for lane_id, row in self._rows.items():
            level_db = None
            if session is not None and version is not None and lane_id in audible and lane_id in overviews:
                lane = session.lane(lane_id)
                level_db = lane_level_db(
                    overviews[lane_id], lane, version, state.position_samples, session.rate_hz
                )
            row.meter.show_level(level_db)

    def show_overviews(self, lane_ids: Iterable[str]) -> None:
        """More of these lanes' sound is known."""
        rows = [self._rows[lane_id] for lane_id in lane_ids if lane_id in self._rows]
        for row in rows:
            self._learn_peak(row.lane_id)
        self.refresh()
        for row in rows:
            row.wave.refresh()

    def show_samples(self, lane_id: str) -> None:
        """Samples that were asked for are at hand: for the lane, and where it lies behind others."""
        for row in self._rows.values():
            look = row.wave.look
            if look is not None and (row.lane_id == lane_id or look.anchor is not None):
                row.wave.refresh()

    def zoom_height(self, notches: int) -> None:
        """Draw all lanes taller (or less), in steps of 3 dB."""
        self._height_zoom_db = min(max(self._height_zoom_db + 3.0 * notches, -24.0), 48.0)
        self.height_zoom_changed.emit(self._height_zoom_db)
        self.refresh()

    def reset_height(self) -> None:
        self._height_zoom_db = 0.0
        self.zoom_height(0)

    def refresh(self) -> None:
        """Show every row as the session, the view and the choices now are; only what differs is redrawn."""
        session = self._session
        if session is None:
            return
        theme, version = theme_of(self.palette()), session.current_version
        shared = StackLook(
            view=self._times.view,
            version=version,
            theme=theme,
            anchor_behind=self._anchor_behind,
            height_zoom_db=self._height_zoom_db,
        )
        audible = {lane.id for lane in session.audible_lanes(version)}
        anchor_moves = version.move(session.anchor_id or "") if self._anchor_behind else None
        shown = (
            shared.view,
            theme,
            session.anchor_id,
            session.loop,
            self._anchor_behind,
            self._height_zoom_db,
            anchor_moves,
            self._peaks.get(session.anchor_id or ""),
        )
        colours = lane_colours(session.lanes)
        for lane in session.lanes:
            if lane.id in self._rows:
                colour = colours[lane.id]
                state = self._state_of(session, lane, colour, theme, lane.id in audible)
                wanted = (shown, state, self._peaks.get(lane.id))
                if self._shown.get(lane.id) != wanted:
                    self._shown[lane.id] = wanted
                    row = self._rows[lane.id]
                    row.show_state(state)
                    chosen, heard = state.is_selected, state.is_audible
                    row.wave.show_look(
                        look_of(
                            session, lane, colours[lane.id], shared, self._peaks, selected=chosen, heard=heard
                        )
                    )
        self.show_playhead(self._playhead)
        self._show_chosen()
        self.show_marks(self._marks)

    def _state_of(
        self, session: Session, lane: Lane, colour: int, theme: Theme, is_audible: bool
    ) -> LaneState:
        version = session.current_version
        return LaneState(
            lane=lane,
            move=version.move(lane.id),
            balance=version.balance(lane.id),
            colour=theme.lane(colour),
            mark=theme.lane_mark(colour),
            rate_hz=session.rate_hz,
            temperature_c=session.temperature_c,
            unit=self._unit,
            is_anchor=lane.id == session.anchor_id,
            is_current=lane.id == self._selection.current,
            is_selected=lane.id in self._selection.chosen,
            is_audible=is_audible,
            is_folded=lane.id in self._folded,
            linked_with=self._linked_with(session, lane) if lane.link else (),
        )

    def _show_chosen(self) -> None:
        chosen = self._times.chosen_x
        for row in self._rows.values():
            row.wave.show_chosen(chosen)

    def set_header_width(self, width: int) -> None:
        """How wide the lanes' headers are, in pixels."""
        self._header_width = width
        for row in self._rows.values():
            row.set_header_width(width)

    def let_point(self, on: bool) -> None:
        """Whether clicks on the waves point at sounds; else they put the playhead."""
        self._points = on
        for row in self._rows.values():
            row.wave.let_point(on)

    def show_marks(self, marks: Mapping[str, float]) -> None:
        """Sounds that were pointed at, by lane, in session samples of the lanes as recorded."""
        self._marks = dict(marks)
        session = self._session
        for lane_id, row in self._rows.items():
            at = self._marks.get(lane_id) if session is not None else None
            if at is not None and session is not None:
                at = self._times.view.x_of(at + session.current_version.move(lane_id).shift_samples)
            row.wave.show_mark(at)

    def let_drags_shift(self, on: bool) -> None:
        """Whether a drag over a wave shifts its lane; else it chooses a stretch of time."""
        self.drags_shift = on
        for row in self._rows.values():
            row.wave.let_drags_shift(on)

    def _linked_with(self, session: Session, lane: Lane) -> tuple[str, ...]:
        """Names of the other lanes that move along."""
        others = (session.lane(other) for other in linked_lanes(session, lane.id) if other != lane.id)
        return tuple(other.name for other in others)

    def show_read_out(self, lane_ids: tuple[str, ...], *, stays: bool) -> None:
        """Samples, milliseconds and distance of these lanes' shifts, on their waveforms."""
        self.hide_read_out()
        session = self._session
        if session is None:
            return
        self._read_out_of = lane_ids
        for lane_id in lane_ids:
            shift = session.current_version.move(lane_id).shift_samples
            text = shift_in_all_units(shift, session.rate_hz, session.temperature_c, self._distance)
            if stays and self.hand.is_slowed:
                text += "   slowed: zoom in"
            self.row(lane_id).wave.show_read_out(text)
        if not stays:
            self._read_out_timer.start(READ_OUT_MS)

    def hide_read_out(self) -> None:
        self._read_out_timer.stop()
        for lane_id in self._read_out_of:
            if lane_id in self._rows:
                self._rows[lane_id].wave.show_read_out("")
        self._read_out_of = ()

    # choosing

    def select(self, selection: Selection) -> None:
        if selection == self._selection:
            return
        self._selection = selection
        self.refresh()
        if selection.current in self._rows:
            self.ensureWidgetVisible(self._rows[selection.current], 0, 0)
        self.selection_changed.emit(selection)

    def step(self, by: int) -> None:
        self.select(self._selection.stepped(by, self.order))

    def toggle_fold(self) -> None:
        for lane_id in self._selection.chosen:
            self._fold(lane_id, lane_id not in self._folded)

    def _fold(self, lane_id: str, folded: bool) -> None:
        (self._folded.add if folded else self._folded.discard)(lane_id)
        self.refresh()

    # rows

    def _set_rows(self, session: Session | None) -> None:
        for lane_id in [lane_id for lane_id in self._rows if lane_id not in self.order]:
            row = self._rows.pop(lane_id)
            self._column.removeWidget(row)
            self._shown.pop(lane_id, None)
            row.deleteLater()
        order = self.order
        self._peaks = {lane_id: peak for lane_id, peak in self._peaks.items() if lane_id in order}
        self._add_rows()

    def _add_rows(self, most: int = ROWS_AT_ONCE) -> None:
        """Make rows that are missing, a few at a time: the window goes on while a large take arrives."""
        missing = [lane_id for lane_id in self.order if lane_id not in self._rows]
        for lane_id in missing[:most]:
            self._rows[lane_id] = self._new_row(lane_id)
        there = [self._rows[lane_id] for lane_id in self.order if lane_id in self._rows]
        for index, row in enumerate(there):
            if self._column.indexOf(row) != index:
                self._column.insertWidget(index, row, 1)
        if len(missing) > most:
            self._row_timer.start(0)

    def _add_more_rows(self) -> None:
        self._add_rows()
        for lane_id in self._rows:
            self._learn_peak(lane_id)
        self.refresh()

    def _learn_peak(self, lane_id: str) -> None:
        if self._session is not None and self._data.has_overview(lane_id):
            frames = self._session.lane(lane_id).frames(self._session.rate_hz)
            self._peaks[lane_id] = self._data.peak(lane_id, frames)

    def _new_row(self, lane_id: str) -> LaneRow:
        row = LaneRow(lane_id, self._data)
        row.pressed.connect(self._press)
        row.clicked_at.connect(self._click)
        row.drag_started.connect(self._start_drag)
        row.dragged.connect(self._drag)
        row.drag_ended.connect(self.hand.end)
        row.swept.connect(self._sweep)
        row.wave.let_drags_shift(self.drags_shift)
        row.wave.let_point(self._points)
        row.set_header_width(self._header_width)
        row.reorder_dragged.connect(self._show_landing)
        row.reorder_ended.connect(self._land)
        row.rename_requested.connect(self.rename_requested)
        row.anchor_requested.connect(self.anchor_requested)
        row.polarity_requested.connect(self.polarity_requested)
        row.mute_requested.connect(self.mute_requested)
        row.solo_requested.connect(self.solo_requested)
        row.gain_requested.connect(self.gain_requested)
        row.pan_requested.connect(self.pan_requested)
        row.shift_requested.connect(self._type_shift)
        row.fold_requested.connect(self._fold)
        row.menu_requested.connect(self.menu_requested)
        row.header.refused.connect(self.refused)
        row.wave.resized.connect(self._times.set_width)
        row.wave.zoom_requested.connect(self._times.zoom)
        row.wave.pan_requested.connect(self._times.pan)
        row.wave.height_zoom_requested.connect(self.zoom_height)
        return row

    # the hand

    def _press(self, lane_id: str, modifiers: Qt.KeyboardModifier) -> None:
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        if modifiers & Qt.KeyboardModifier.ControlModifier:
            self.select(self._selection.toggled(lane_id))
        elif modifiers & Qt.KeyboardModifier.ShiftModifier:
            self.select(self._selection.extended(lane_id, self.order))
        else:
            self.select(self._selection.only(lane_id))

    def _click(self, lane_id: str, x: float) -> None:
        if self._points:
            self.pointed.emit(lane_id, self._times.view.sample_at(x))
            return
        self._times.choose_nothing()
        self.seek_requested.emit(self._times.view.sample_at(x))

    def _sweep(self, lane_id: str, from_x: float, to_x: float, y: float) -> None:
        """The hand goes over time, and over all lanes from where it began to where it is."""
        view = self._times.view
        self._times.choose(view.sample_at(from_x), view.sample_at(to_x))
        last = next((other for other in reversed(self.order) if self._rows[other].y() <= y), self.order[0])
        self.select(self._selection.only(lane_id).extended(last, self.order))

    def _start_drag(self, lane_id: str, x: float) -> None:
        if self._session is not None:
            self.hand.start(self._session, lane_id, x)

    def _drag(self, lane_id: str, x: float, fine: bool, free: bool) -> None:
        self.hand.move(lane_id, x, fine, free)
        if self._session is not None:
            self.show_read_out(linked_lanes(self._session, lane_id), stays=True)

    def _end_drag(self, lane_id: str) -> None:
        self.hide_read_out()
        self.shift_settled.emit(lane_id)

    def _type_shift(self, lane_id: str, shift_samples: float) -> None:
        self.shift_requested.emit(lane_id, shift_samples, "")

    def _show_landing(self, lane_id: str, y: float) -> None:
        """Move the row under the pointer while its header is dragged."""
        others = [other for other in self.order if other != lane_id]
        at = sum(self._rows[other].geometry().center().y() < y for other in others)
        row = self._rows[lane_id]
        if self._column.indexOf(row) != at:
            self._column.removeWidget(row)
            self._column.insertWidget(at, row, 1)

    def _place(self, lane_id: str) -> int:
        return self._column.indexOf(self._rows[lane_id])

    def _land(self, lane_id: str) -> None:
        order = sorted(self._rows, key=self._place)
        if order != self.order:
            self.order_requested.emit(order)

    # the frame

    def measure(self) -> None:
        """Tell the view how wide the waveforms are now."""
        if self._rows:
            row = next(iter(self._rows.values()))
            self._times.set_width(row.wave.width())

    def wave_left(self) -> int:
        """Where the waveforms begin, in this widget's pixels."""
        if not self._rows:
            return 0
        return next(iter(self._rows.values())).wave.mapTo(self, QPoint(0, 0)).x()

    def changeEvent(self, event: QEvent) -> None:
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange and hasattr(self, "_rows"):
            self.refresh()
