"""What the shifts do to the tone of the blend: change per third octave, fine change, predicted notches."""

from __future__ import annotations

import math

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QWidget

from lagline.analysis.notches import PairComb
from lagline.analysis.tone import ToneReport
from lagline.desk.panels.curves import following, nearest
from lagline.desk.panels.figures import frequency_text, signed
from lagline.desk.panels.plot_pane import PlotPane
from lagline.desk.theme import Theme

NOTCH_STYLES = (Qt.PenStyle.DotLine, Qt.PenStyle.DashLine)  # before, after
MOST_NOTCHES = 12  # more would be a grey wall
LEAST_RANGE_DB = 3.0
MOST_RANGE_DB = 60.0  # more is only met beside digital silence
UNCHANGED_DB = 0.05  # written, it would be 0.0 dB


class ToneChangePlot(PlotPane):
    """Level of one version over another, dB: bars per third octave, a line for the fine change, and marks
    where two lanes would cancel before (dotted) and after (dashed).

    Receives `show_report(report, from_id, to_id, before, after)`. Keys: Left and Right step through the
    bands.
    """

    looked_at = Signal(float)  # Hz under the cursor

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(
            "Tone change of the blend",
            "No tone change yet",
            "Line up a lane or two to see what that does to the tone of the blend, third octave "
            "by third octave, for the loop or the view.",
            parent,
            frequency_axis=True,
        )
        self.setToolTip("Bars: change per third octave. Left and Right step through the bands.")
        self._centres = np.zeros(0)
        self._change = np.zeros(0)
        self._fine_x = np.zeros(0)
        self._fine = np.zeros(0)
        self._names = ("", "")
        self._ids = ("", "")
        self._before: PairComb | None = None
        self._after: PairComb | None = None
        self._nominal: tuple[float, ...] = ()
        self.follow_theme()

    def prepare(self) -> None:
        self.plot.setLabel("bottom", "frequency, Hz")
        self.plot.setLabel("left", "change, dB")
        self._bars: pg.BarGraphItem | None = None
        self._zero = pg.InfiniteLine(pos=0, angle=0)
        self._curve = pg.PlotCurveItem(antialias=True)
        self._notches: dict[Qt.PenStyle, list[pg.InfiniteLine]] = {style: [] for style in NOTCH_STYLES}
        for item in (self._zero, self._curve):
            item.setZValue(5)
            self.plot.addItem(item, ignoreBounds=True)

    def show_report(
        self,
        report: ToneReport | None,
        from_id: str = "original",
        to_id: str = "v1",
        *,
        names: tuple[str, str] = ("Original", "Shifted"),
        before: PairComb | None = None,
        after: PairComb | None = None,
    ) -> None:
        """Show the change from one version to another; `before` and `after` predict a pair's notches."""
        change = report.band_change_db(from_id, to_id) if report is not None else ()
        if report is None or not change:
            self.show_plot(False)
            return
        self._nominal = tuple(band.nominal_hz for band in report.bands)
        self._centres = np.log10([band.centre_hz for band in report.bands])
        self._change = np.asarray(change)
        self._fine_x = np.log10(report.fine_hz)
        self._fine = np.asarray(report.fine_change_db(from_id, to_id))
        self._ids, self._names, self._before, self._after = (from_id, to_id), names, before, after
        self.show_plot(True)
        low, high = float(self._centres[0]) - 0.05, float(self._centres[-1]) + 0.05
        self.limit_view(low, high)
        self.plot.setXRange(low, high, padding=0)
        self.plot.setYRange(*self._y_range(), padding=0)
        self.redraw(self.theme)
        self.summarise(self._summary())

    def _y_range(self) -> tuple[float, float]:
        """It holds bars and curve: the fine curve swings further than the bands, which average it."""
        both = np.concatenate((self._change, self._fine))
        low = min(1.1 * float(both.min()), -LEAST_RANGE_DB)
        high = max(1.1 * float(both.max()), LEAST_RANGE_DB)
        return max(low, -MOST_RANGE_DB), min(high, MOST_RANGE_DB)

    def redraw(self, theme: Theme) -> None:
        for comb, style, version_id in zip((self._before, self._after), NOTCH_STYLES, self._ids, strict=True):
            self._mark(theme.version(version_id), comb, style)
        if self._bars is None:
            self._bars = pg.BarGraphItem(x=self._centres, height=self._change, width=0.08)
            self.plot.addItem(self._bars, ignoreBounds=True)
        self._bars.setOpts(
            x=self._centres,
            height=self._change,
            pen=pg.mkPen(theme.text_muted, width=1),
            brush=pg.mkBrush(theme.line),
        )
        self._zero.setPen(pg.mkPen(theme.edge, width=1))
        self._curve.setPen(pg.mkPen(theme.text, width=1))
        self._curve.setData(self._fine_x, self._fine)

    def _mark(self, colour: str, comb: PairComb | None, style: Qt.PenStyle) -> None:
        """Lines at the first notches, as many as can be told apart on a logarithmic axis."""
        places = comb.notches_hz[:MOST_NOTCHES] if comb is not None else ()
        lines = self._notches[style]
        while len(lines) < len(places):
            lines.append(pg.InfiniteLine())
            self.plot.addItem(lines[-1], ignoreBounds=True)
        for number, line in enumerate(lines):
            line.setVisible(number < len(places))
            if number < len(places):
                line.setValue(math.log10(places[number]))
                line.setPen(pg.mkPen(colour, width=1, style=style))

    def _summary(self) -> str:
        most = int(np.argmax(np.abs(self._change)))
        what = f"most at {frequency_text(self._nominal[most])}, {signed(float(self._change[most]), 1)} dB"
        if abs(self._change[most]) < UNCHANGED_DB:
            what = "nothing changes"
        text = f"{self._names[1]} against {self._names[0]}: {what}."
        for comb, word in ((self._before, "dotted, before"), (self._after, "dashed, after")):
            if comb is not None and comb.notches_hz:
                text += f" First notch {word}: {frequency_text(comb.notches_hz[0])}."
        return text

    def cursor_moved(self, x: float) -> None:
        index = nearest(self._centres, x)
        if index is None:
            return
        fine = float(np.interp(x, self._fine_x, self._fine))
        change = signed(float(self._change[index]), 1)
        self.say(
            f"{frequency_text(self._nominal[index])} third octave: {change} dB. "
            f"At {frequency_text(10**x)}: {signed(fine, 1)} dB."
        )
        self.looked_at.emit(10**x)

    def step_cursor(self, key: Qt.Key, modifiers: Qt.KeyboardModifier) -> float | None:
        if key not in (Qt.Key.Key_Left, Qt.Key.Key_Right):
            return None
        x = float(self.cursor_line.value()) if self.cursor_line.isVisible() else 3.0
        there = following(self._centres, x, 1 if key == Qt.Key.Key_Right else -1)
        return x if there is None else there
