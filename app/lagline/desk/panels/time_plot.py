"""Arrival over time: one dot a window of the take."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, Qt, Signal
from PySide6.QtGui import QHideEvent
from PySide6.QtWidgets import QWidget

from lagline.desk.panels.curves import following, nearest
from lagline.desk.panels.figures import clock_text, polarity_text, signed
from lagline.desk.panels.plot_pane import PlotPane
from lagline.desk.theme import Theme
from lagline.session.findings import Finding
from lagline.session.values import Session
from lagline.units import samples_to_ms

REACH_PX = 12.0


class TimePlot(PlotPane):
    """Arrival of each window against session time. Round dots fit as they are, triangles fit flipped;
    the larger, the more the window weighs.

    Signals
    -------
    passage_hovered(float time_s or None) : the cursor is on the window centred at this session time, or has
        left it.
    passage_requested(float time_s) : go there: a dot was clicked, or Enter pressed on it.

    Keys: Left and Right the previous and next window, Home and End the first and last, Enter goes there.
    """

    passage_hovered = Signal(object)
    passage_requested = Signal(float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(
            "Arrival over time",
            "No passages yet",
            "Measure the take and choose a lane to see its arrival in each passage. Click a dot to "
            "go to that passage.",
            parent,
        )
        self.setToolTip(
            "Each dot is one passage: click it, or press Enter on it, to go there. Left and Right change "
            "passage. Round: fits as it is; triangle: fits flipped."
        )
        self._session: Session | None = None
        self._finding: Finding | None = None
        self._time = np.zeros(0)
        self._arrival = np.zeros(0)
        self._hovered: float | None = None
        self.follow_theme()

    def prepare(self) -> None:
        self.plot.setLabel("bottom", "time, s")
        self.plot.setLabel("left", "arrival, samples")
        self._found = pg.InfiniteLine(angle=0)
        self._dots = pg.ScatterPlotItem()
        self._marker = pg.ScatterPlotItem(size=15, symbol="o", brush=None)
        self._marker.setZValue(15)
        for item in (self._found, self._dots, self._marker):
            self.plot.addItem(item, ignoreBounds=True)

    def show_finding(self, session: Session | None, finding: Finding | None) -> None:
        """Draw a lane's arrival in each passage, with its line of drift; None empties the plot."""
        same = finding is self._finding and session is not None
        self._session, self._finding = session, finding
        if not same:
            self._hover(None)
        times = finding.evidence.window_time_s if finding is not None else ()
        self.show_plot(bool(times) and session is not None)
        if not self.has_plot or finding is None or same:
            return
        order = np.argsort(np.asarray(times), kind="stable")
        self._order = order
        self._time = np.asarray(times)[order]
        self._arrival = np.asarray(finding.evidence.window_arrival_samples)[order]
        self._weight = np.asarray(finding.evidence.window_weight)[order]
        self._polarity = np.asarray(finding.evidence.window_polarity)[order]
        self._marker.setData([], [])
        self.cursor_line.setVisible(False)
        room = max(0.03 * float(np.ptp(self._time)), 0.5)
        low, high = float(self._time[0]) - room, float(self._time[-1]) + room
        self.limit_view(low, high)
        self.plot.setXRange(low, high, padding=0)
        bottom, top = float(self._arrival.min()), float(self._arrival.max())
        margin = max(0.1 * (top - bottom), 1.0)
        self.plot.setYRange(bottom - margin, top + margin, padding=0)
        self.redraw(self.theme)
        self.summarise(self._summary())

    def redraw(self, theme: Theme) -> None:
        finding = self._finding
        if finding is None:
            return
        self._marker.setPen(pg.mkPen(theme.accent, width=1))
        self.cursor_line.setPen(pg.mkPen(theme.line, width=1))
        self._found.setPen(pg.mkPen(theme.ok, width=1))
        self._found.setVisible(finding.arrival_samples is not None)
        if finding.arrival_samples is not None:
            self._found.setValue(finding.arrival_samples)
        fits = self._polarity > 0
        brushes = {True: pg.mkBrush(theme.lanes[0]), False: pg.mkBrush(theme.lanes[1])}
        self._dots.setData(
            self._time,
            self._arrival,
            size=5 + 5 * np.sqrt(np.clip(self._weight, 0, 1)),
            symbol=["o" if fit else "t1" for fit in fits],
            pen=pg.mkPen(theme.text, width=1),
            brush=[brushes[bool(fit)] for fit in fits],
        )

    def _summary(self) -> str:
        assert self._finding is not None and self._session is not None
        windows = self._finding.windows
        parts = [f"{windows.agreeing} of {windows.used} agree. ● as anchor, ▲ inverted."]
        uncertainty = self._finding.drift_uncertainty_ppm
        if self._finding.drift_ppm:
            spread = "" if uncertainty is None else f" ± {uncertainty:.1f}"
            parts.append(f"Drift {signed(self._finding.drift_ppm, 1)}{spread} ppm.")
        if self._finding.movement_ms:
            parts.append(f"It moves by {self._finding.movement_ms:.2f} ms.")
        return " ".join(parts)

    def snapped(self, x: float, y: float, free: bool) -> float:
        apart = self.pixels_between(x, y, self._time, self._arrival)
        index = int(np.argmin(apart))
        return float(self._time[index]) if apart[index] <= REACH_PX else x

    def cursor_moved(self, x: float) -> None:
        index = nearest(self._time, x)
        if index is None or self._session is None or abs(self._time[index] - x) > 1e-9:
            self._marker.setData([], [])
            self.say(self._summary())
            self._hover(None)
            return
        self._marker.setData([self._time[index]], [self._arrival[index]])
        arrival = float(self._arrival[index])
        self.say(
            f"At {clock_text(float(self._time[index]))}: {signed(arrival, 2)} samples, "
            f"{signed(samples_to_ms(arrival, self._session.rate_hz), 3)} ms, "
            f"{polarity_text(int(self._polarity[index]))}\nweight {self._weight[index]:.2f}"
        )
        self._hover(float(self._time[index]))

    def cursor_chosen(self, x: float) -> None:
        index = nearest(self._time, x)
        if index is not None and abs(self._time[index] - x) < 1e-9:
            self.passage_requested.emit(float(self._time[index]))

    def leaveEvent(self, event: QEvent) -> None:
        super().leaveEvent(event)
        if not self.hasFocus():
            self._marker.setData([], [])
        self._hover(None)

    def hideEvent(self, event: QHideEvent) -> None:
        super().hideEvent(event)
        self._hover(None)  # no leaving is told of what is hidden under the cursor

    def _hover(self, time_s: float | None) -> None:
        if time_s != self._hovered:
            self._hovered = time_s
            self.passage_hovered.emit(time_s)

    def step_cursor(self, key: Qt.Key, modifiers: Qt.KeyboardModifier) -> float | None:
        if key == Qt.Key.Key_Home:
            return float(self._time[0])
        if key == Qt.Key.Key_End:
            return float(self._time[-1])
        if key not in (Qt.Key.Key_Left, Qt.Key.Key_Right):
            return None
        if not self.cursor_line.isVisible():
            return float(self._time[0])
        by = 1 if key == Qt.Key.Key_Right else -1
        there = following(self._time, float(self.cursor_line.value()), by)
        return float(self.cursor_line.value()) if there is None else there
