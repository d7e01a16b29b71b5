"""The close-up: all lanes laid over each other around one attack, before above after."""

from __future__ import annotations

from html import escape
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from lagline.desk.panels.closeup_data import CloseUpData
from lagline.desk.panels.figures import clock_text, signed
from lagline.desk.panels.lane_key import LaneKey
from lagline.desk.panels.plot_pane import PlotPane
from lagline.desk.panels.themed import Themed, plain_label, shown
from lagline.desk.theme import GAP, PAD, Theme
from lagline.session.colours import lane_colours
from lagline.session.values import ORIGINAL, ORIGINAL_ID, Session
from lagline.units import samples_to_ms

MARK_STYLES = {"whole": Qt.PenStyle.SolidLine, "dashed": Qt.PenStyle.DashLine, "dotted": Qt.PenStyle.DotLine}
NEXT_TEXT = "Attack ▶"
WHAT_IT_SHOWS = (
    "here you see a few milliseconds of every lane laid over each other, as recorded above and shifted below."
)
USUAL_SPAN_MS = 20.0
MOST_LETTERS = 20  # of a version's name beside its plot
DOTS_BELOW = 160  # samples in view from which single samples are dotted


class CloseUpPlot(PlotPane):
    """Two plots, one above the other, that zoom together: lanes as recorded, lanes as shifted."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(
            "Close-up of an attack",
            "No attack chosen yet",
            f"Open a take, then press {NEXT_TEXT}: {WHAT_IT_SHOWS}",
            parent,
        )
        self.setToolTip("Wheel zooms; drag moves. Left and Right move the cursor by a sample, Ctrl by 10.")
        self._data: CloseUpData | None = None
        self._lanes: dict[str, int] = {}
        self._hidden: frozenset[str] = frozenset()
        self._curves: list[list[pg.PlotCurveItem]] = [[], []]  # before, after; one a lane
        self._dots: list[list[pg.ScatterPlotItem]] = [[], []]
        self._dotted = False
        self._pointed: str | None = None
        self.follow_theme()

    def prepare(self) -> None:
        self.plot.getPlotItem().getAxis("bottom").setStyle(showValues=False)
        self._below = self.add_plot_below(pg.AxisItem("bottom")).getPlotItem()
        self._below.setLabel("bottom", "from the attack, ms")
        self._cursor_below = pg.InfiniteLine(angle=90, movable=False)
        self._cursor_below.setVisible(False)
        self._below.addItem(self._cursor_below, ignoreBounds=True)
        self._rulers = []
        for item in self._owners():
            item.getAxis("left").setStyle(showValues=False)
            item.getAxis("left").setWidth(24)
            item.setYRange(-1.05, 1.05, padding=0)
            item.getViewBox().sigXRangeChanged.connect(self._range_changed)
            for angle in (0, 90):
                self._rulers.append(pg.InfiniteLine(pos=0, angle=angle))
                item.addItem(self._rulers[-1], ignoreBounds=True)

    def _owners(self) -> tuple[Any, Any]:
        return self.plot.getPlotItem(), self._below

    def show_data(self, data: CloseUpData | None, lanes: dict[str, int], hidden: frozenset[str]) -> None:
        """`lanes`: colour index by lane id; `hidden`: lanes not drawn."""
        moved = self._data is None or data is None or data.centre != self._data.centre
        moved = moved or self._data is None or data is None or data.frames != self._data.frames
        is_new = moved or self._data is None or data is None or data.after_by != self._data.after_by
        self._data, self._lanes, self._hidden = data, lanes, hidden
        self.show_plot(data is not None and bool(data.lane_ids))
        if not self.has_plot or data is None:
            return
        if moved:
            times = data.times_ms()
            for item in self._owners():
                item.getViewBox().setLimits(xMin=float(times[0]), xMax=float(times[-1]))
            self.plot.setXRange(float(times[0]), float(times[-1]), padding=0)
            self.cursor_line.setVisible(False)
            self._cursor_below.setVisible(False)
        if is_new:
            self.summarise(self._summary(data))
        self.redraw(self.theme)

    def explain_next(self, is_open: bool) -> None:
        """What to press, once there is a take to look at."""
        title = "No attack chosen yet" if is_open else ""
        self.explain_empty(title, f"Press {NEXT_TEXT} to go to the next strong attack: {WHAT_IT_SHOWS}")

    def _summary(self, data: CloseUpData) -> str:
        by_ms = samples_to_ms(data.after_by, data.rate_hz)
        way = "later" if by_ms > 0 else "earlier"
        below = f"{abs(by_ms):.2f} ms {way} in the take" if by_ms else "the same moment"
        return (
            f"Above, 0 ms is where the first lane begins to move; below, {below}. "
            "Each lane is drawn at its own peak."
        )

    def redraw(self, theme: Theme) -> None:
        data = self._data
        if data is None:
            return
        shown_ones = (ORIGINAL_ID, ORIGINAL.name), (data.version_id, data.version_name)
        for owner, (version_id, name) in zip(self._owners(), shown_ones, strict=True):
            owner.setLabel("left", escape(name[:MOST_LETTERS]), color=theme.version(version_id))
        self._cursor_below.setPen(pg.mkPen(theme.text, width=1, style=Qt.PenStyle.DashLine))
        for ruler in self._rulers:
            ruler.setPen(pg.mkPen(theme.line if ruler.angle == 0 else theme.edge, width=1))
        times = data.times_ms()
        self._dotted = self._samples_in_view() <= DOTS_BELOW
        for owner, curves, dots, lanes in zip(
            self._owners(), self._curves, self._dots, (data.before, data.after), strict=True
        ):
            while len(curves) < len(data.lane_ids):
                curves.append(pg.PlotCurveItem(antialias=True))
                dots.append(pg.ScatterPlotItem(size=4, pen=None))
                owner.addItem(curves[-1], ignoreBounds=True)
                owner.addItem(dots[-1], ignoreBounds=True)
            for number, (curve, dot) in enumerate(zip(curves, dots, strict=True)):
                drawn = number < len(data.lane_ids) and data.lane_ids[number] not in self._hidden
                curve.setVisible(drawn)
                dot.setVisible(drawn and self._dotted)
                if drawn:
                    colour = self._colour(theme, data.lane_ids[number])
                    curve.setZValue(10 if data.lane_ids[number] == self._pointed else 0)
                    mark = theme.lane_mark(self._lanes.get(data.lane_ids[number], 0))
                    curve.setPen(pg.mkPen(colour, width=1, style=MARK_STYLES[mark]))
                    curve.setData(times, lanes[number])
                if drawn and self._dotted:
                    dot.setData(times, lanes[number], brush=pg.mkBrush(colour))

    def point_at(self, lane_id: str | None) -> None:
        """Let one lane stand out, or all be alike again."""
        if lane_id != self._pointed:
            self._pointed = lane_id
            if self.has_plot:
                self.redraw(self.theme)

    def _colour(self, theme: Theme, lane_id: str) -> str:
        if self._pointed is None:
            return theme.lane(self._lanes.get(lane_id, 0))
        return theme.text if lane_id == self._pointed else theme.line

    @property
    def drawn_lanes(self) -> int:
        """How many lanes are drawn in the upper plot."""
        return sum(curve.isVisible() for curve in self._curves[0])

    @property
    def is_dotted(self) -> bool:
        """Single samples are marked."""
        return self._dotted

    def _samples_in_view(self) -> float:
        low, high = self.plot.viewRange()[0]
        return 0.0 if self._data is None else (high - low) * self._data.rate_hz / 1000.0

    def _range_changed(self) -> None:
        if self.has_plot and (self._samples_in_view() <= DOTS_BELOW) != self._dotted:
            self.redraw(self.theme)

    def cursor_moved(self, x: float) -> None:
        self._cursor_below.setValue(x)
        self._cursor_below.setVisible(True)
        if self._data is not None:
            samples = x * self._data.rate_hz / 1000.0
            self.say(f"{signed(x, 3)} ms, {signed(samples, 1)} samples from the attack")

    def step_cursor(self, key: Qt.Key, modifiers: Qt.KeyboardModifier) -> float | None:
        if self._data is None or key not in (Qt.Key.Key_Left, Qt.Key.Key_Right, Qt.Key.Key_Home):
            return None
        if key == Qt.Key.Key_Home or not self.cursor_line.isVisible():
            return 0.0
        by = 10.0 if modifiers & Qt.KeyboardModifier.ControlModifier else 1.0
        step = by * 1000.0 / self._data.rate_hz * (1 if key == Qt.Key.Key_Right else -1)
        times = self._data.times_ms()
        return float(np.clip(float(self.cursor_line.value()) + step, times[0], times[-1]))


class CloseUpPanel(Themed):
    """The close-up with its steps.

    Receives: `show_session(session or None)`, `show_close_up(CloseUpData or None)`, `show_busy(bool)`,
    `show_message(text)`. The data come from `closeup_data.close_up` and `seek_attack` on another thread.

    Signals
    -------
    attack_step_requested(int direction) : find the next (+1) or previous (-1) strong attack and show it.
    span_requested(float span_ms) : show this much around the same attack.
    """

    attack_step_requested = Signal(int)
    span_requested = Signal(float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Close-up")
        self._session: Session | None = None
        self._data: CloseUpData | None = None
        self._span_ms = USUAL_SPAN_MS
        self.plot = CloseUpPlot()
        self._where = plain_label()
        self._key = LaneKey()
        self._key.hidden_changed.connect(self._refresh)
        self._key.pointed_changed.connect(self.plot.point_at)
        self._previous = self._button("◀ Attack", "Previous attack", "The previous strong attack (Shift+A)")
        self._previous.clicked.connect(self._ask_previous)
        self._next = self._button(NEXT_TEXT, "Next attack", "The next strong attack (A)")
        self._next.clicked.connect(self._ask_next)
        self._narrower = self._button("+", "Show less time", "Show half as much time around the attack")
        self._narrower.clicked.connect(self._ask_narrower)
        self._wider = self._button(MINUS_SIGN, "Show more time", "Show twice as much time around the attack")
        self._wider.clicked.connect(self._ask_wider)
        buttons = QHBoxLayout()
        for button in (self._previous, self._next, self._narrower, self._wider):
            buttons.addWidget(button)
        buttons.addStretch(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(PAD, PAD, PAD, PAD)
        column.setSpacing(GAP)
        column.addLayout(buttons)
        column.addWidget(self._where)
        column.addWidget(self.plot, 1)
        column.addWidget(self._key)
        self.show_session(None)
        self.follow_theme()

    def show_session(self, session: Session | None) -> None:
        """Follow the session; nothing is read here. None clears the panel."""
        self._session = session
        if session is None:
            self._data = None
            self._span_ms = USUAL_SPAN_MS
        self._key.show_session(session)
        self.plot.explain_next(session is not None and bool(session.lanes))
        for button in (self._previous, self._next):
            button.setEnabled(session is not None and bool(session.lanes))
        self._refresh()

    def show_close_up(self, data: CloseUpData | None) -> None:
        """Show what was read around an attack; None says how to get there."""
        self._data = data
        if data is not None:
            self._span_ms = data.frames * 1000.0 / data.rate_hz
        self._refresh()

    def show_busy(self, busy: bool) -> None:
        """Say that the samples are being read, or take that back."""
        if busy:
            shown(self._where, "Looking for the attack …")
        else:
            self._refresh()

    def show_message(self, text: str) -> None:
        """For example that there is no further attack."""
        shown(self._where, text)

    @property
    def centre(self) -> int | None:
        """Session sample of the attack that is shown."""
        return None if self._data is None else self._data.centre

    @property
    def span_ms(self) -> float:
        """How much time is shown, in milliseconds."""
        return self._span_ms

    def _refresh(self) -> None:
        lanes = self._session.lanes if self._session is not None else ()
        self.plot.show_data(self._data, lane_colours(lanes), self._key.hidden)
        has_data = self._data is not None
        self._narrower.setEnabled(has_data and self._span_ms > 1.0)
        self._wider.setEnabled(has_data and self._span_ms < 500.0)
        self._key.setVisible(has_data)
        if self._data is None:
            shown(self._where, "")
        else:
            at = clock_text(self._data.centre / self._data.rate_hz)
            shown(self._where, f"Attack at {at}. Above: as recorded. Below: {self._data.version_name}.")

    def _ask_previous(self) -> None:
        self.attack_step_requested.emit(-1)

    def _ask_next(self) -> None:
        self.attack_step_requested.emit(1)

    def _ask_narrower(self) -> None:
        self.span_requested.emit(self._span_ms / 2)

    def _ask_wider(self) -> None:
        self.span_requested.emit(self._span_ms * 2)

    def _button(self, text: str, name: str, tip: str) -> QPushButton:
        button = QPushButton(text)
        button.setAccessibleName(name)
        button.setToolTip(tip)
        return button


MINUS_SIGN = "\N{MINUS SIGN}"
