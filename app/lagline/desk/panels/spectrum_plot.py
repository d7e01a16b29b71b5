"""Spectra of two versions, and what summing gained in each: two plots on a frequency axis."""

from __future__ import annotations

import math

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QWidget

from lagline.analysis.tone import ToneReport, VersionTone
from lagline.desk.panels.curves import following, nearest
from lagline.desk.panels.figures import frequency_text, signed
from lagline.desk.panels.plot_pane import PlotPane
from lagline.desk.theme import Theme

QUIETEST_BELOW_DB = 80.0  # of a spectrum, under its loudest place
IN_STEP_DB = 10 * math.log10(2)  # two equal lanes that add fully, over the sum of their powers


class TwoCurves(PlotPane):
    """Base: two versions' curves over one frequency axis, each in its colour, the first dashed."""

    def __init__(
        self, title: str, empty_title: str, empty_text: str, unit: str, parent: QWidget | None = None
    ) -> None:
        super().__init__(title, empty_title, empty_text, parent, frequency_axis=True)
        self._x: np.ndarray = np.zeros(0)
        self._first: np.ndarray = np.zeros(0)
        self._second: np.ndarray = np.zeros(0)
        self._names = ("", "")
        self._ids = ("", "")
        self._unit = unit

    def prepare(self) -> None:
        self.plot.setLabel("bottom", "frequency, Hz")
        self.plot.setLabel("left", self._unit)
        self._curves = [pg.PlotCurveItem(antialias=True, connect="finite") for _ in range(2)]
        for curve in self._curves:
            self.plot.addItem(curve, ignoreBounds=True)

    def show_report(
        self, report: ToneReport | None, first_id: str, second_id: str, names: tuple[str, str]
    ) -> None:
        """Draw two versions of a tone report; None, or versions that weren't measured, empty the plot."""
        first = report.version(first_id) if report is not None else None
        second = report.version(second_id) if report is not None else None
        if report is None or first is None or second is None:
            self.show_plot(False)
            return
        self._ids = first_id, second_id
        (hertz, levels), (_, others) = self.curve(report, first), self.curve(report, second)
        self.show_curves(hertz, levels, others, names)

    def show_curves(
        self,
        hertz: tuple[float, ...],
        first: tuple[float, ...],
        second: tuple[float, ...],
        names: tuple[str, str],
    ) -> None:
        """Draw two curves over one frequency axis; all three of one length."""
        self.show_plot(bool(hertz) and len(first) == len(second) == len(hertz))
        if not self.has_plot:
            return
        self._x = np.log10(hertz)
        self._first, self._second, self._names = np.asarray(first), np.asarray(second), names
        low, high = float(self._x[0]) - 0.03, float(self._x[-1]) + 0.03
        self.limit_view(low, high)
        self.plot.setXRange(low, high, padding=0)
        self.plot.setYRange(*self.y_range(), padding=0)
        self.redraw(self.theme)
        self.summarise(self.summary())

    def curve(self, report: ToneReport, version: VersionTone) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Frequencies in Hz and what is drawn over them."""
        raise NotImplementedError

    def y_range(self) -> tuple[float, float]:
        """Lowest and highest value of the vertical axis."""
        raise NotImplementedError

    def summary(self) -> str:
        """One sentence above the plot."""
        raise NotImplementedError

    def redraw(self, theme: Theme) -> None:
        styles = Qt.PenStyle.DashLine, Qt.PenStyle.SolidLine
        for curve, y, colour, style in zip(
            self._curves, (self._first, self._second), self.colours(theme), styles, strict=True
        ):
            curve.setPen(pg.mkPen(colour, width=1, style=style))
            curve.setData(self._x, y)

    def colours(self, theme: Theme) -> tuple[str, str]:
        """Colours of the first and the second curve."""
        return theme.version(self._ids[0]), theme.version(self._ids[1])

    def key_text(self) -> str:
        """Which line is which version."""
        return f"Dashed: {self._names[0]}. Plain: {self._names[1]}."

    def cursor_moved(self, x: float) -> None:
        index = nearest(self._x, x)
        if index is not None:
            first, second = float(self._first[index]), float(self._second[index])
            self.say(
                f"{frequency_text(float(10 ** self._x[index]))}: {self._names[0]} {_level(first)}, "
                f"{self._names[1]} {_level(second)}, difference {_level(second - first)}"
            )

    def step_cursor(self, key: Qt.Key, modifiers: Qt.KeyboardModifier) -> float | None:
        if key not in (Qt.Key.Key_Left, Qt.Key.Key_Right):
            return None
        x = float(self.cursor_line.value()) if self.cursor_line.isVisible() else 3.0
        there = following(self._x, x, 1 if key == Qt.Key.Key_Right else -1)
        return x if there is None else there


class SpectrumPlot(TwoCurves):
    """Fine spectra (1/24 octave) of two versions' blends, density in dB per Hz."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(
            "Spectra of two versions",
            "No spectrum yet",
            "Open a take and choose a passage to see the fine spectrum of both versions.",
            "density, dB/Hz",
            parent,
        )
        self.setToolTip("Fine spectra, 1/24 octave. Left and Right move the cursor.")
        self.follow_theme()

    def curve(self, report: ToneReport, version: VersionTone) -> tuple[tuple[float, ...], tuple[float, ...]]:
        return report.fine_hz, version.fine_db

    def y_range(self) -> tuple[float, float]:
        top = max(float(self._first.max()), float(self._second.max()))
        bottom = max(min(float(self._first.min()), float(self._second.min())), top - QUIETEST_BELOW_DB)
        return bottom - 3.0, top + 3.0

    def summary(self) -> str:
        return self.key_text()


class SummingPlot(TwoCurves):
    """Summing gain per third octave of two versions: blend power over the sum of the lanes' powers."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(
            "Summing gain per third octave",
            "No summing gain yet",
            "Open a take and choose a passage to see where the lanes add up and cancel.",
            "summing gain, dB",
            parent,
        )
        self.setToolTip(
            "0 dB: the lanes share nothing here. Above: they add up (two equal ones in step: +3). "
            "Below: they cancel."
        )
        self.follow_theme()

    def curve(self, report: ToneReport, version: VersionTone) -> tuple[tuple[float, ...], tuple[float, ...]]:
        return tuple(band.centre_hz for band in report.bands), version.summing_gain_db

    def y_range(self) -> tuple[float, float]:
        both = np.concatenate((self._first, self._second))
        both = both[np.isfinite(both)]
        low, high = (float(both.min()), float(both.max())) if len(both) else (0.0, 0.0)
        return max(min(low - 1.0, -4.0), -30.0), max(high + 1.0, 4.0)

    def prepare(self) -> None:
        super().prepare()
        self._zero = pg.InfiniteLine(pos=0, angle=0)
        self._symbols = [pg.ScatterPlotItem(symbol=symbol, size=6) for symbol in ("o", "s")]
        for item in (self._zero, *self._symbols):
            self.plot.addItem(item, ignoreBounds=True)

    def redraw(self, theme: Theme) -> None:
        super().redraw(theme)
        self._zero.setPen(pg.mkPen(theme.edge, width=1))
        first, second = self.colours(theme)
        inks = ((first, theme.surface), (second, second))  # edge, inside
        for symbols, y, (edge, inside) in zip(self._symbols, (self._first, self._second), inks, strict=True):
            real = np.isfinite(y)
            symbols.setData(self._x[real], y[real], pen=pg.mkPen(edge, width=1), brush=pg.mkBrush(inside))

    def summary(self) -> str:
        if not np.isfinite(self._second).any():
            return "The lanes are silent in this passage."
        means = [float(np.nanmean(y)) for y in (self._first, self._second)]
        return (
            f"○ {self._names[0]}: {signed(means[0], 1)} dB on average; ■ {self._names[1]}: "
            f"{signed(means[1], 1)} dB. 0: nothing shared; below: cancelling."
        )


def _level(level_db: float) -> str:
    return "silent" if math.isnan(level_db) else f"{signed(level_db, 1)} dB"
