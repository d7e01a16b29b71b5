"""What a lane shares with the anchor, frequency by frequency: coherence above, phase below."""

from __future__ import annotations

import math

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QWidget

from lagline.analysis.tone import Coherence
from lagline.desk.panels.curves import following, nearest, per_octave
from lagline.desk.panels.figures import frequency_text, signed
from lagline.desk.panels.plot_pane import FrequencyAxis, PlotPane
from lagline.desk.theme import Theme
from lagline.session.findings import Finding


class CoherencePlot(PlotPane):
    """Magnitude-squared coherence (0..1) and phase (degrees) of a lane against the anchor.

    Phase is drawn where coherence says that it means something. Keys: Left and Right step through the
    frequencies.
    """

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(
            "Coherence and phase against the anchor",
            "No coherence yet",
            "Measure the take and choose a lane to see how much of each frequency it shares with "
            "the anchor, and in which phase.",
            parent,
            frequency_axis=True,
        )
        self.setToolTip(
            "Above: 1 means that all of this frequency is shared with the anchor, 0 nothing. Below: phase "
            "where it means something. Left and Right step through the frequencies."
        )
        self._hertz = np.zeros(0)
        self._coherence = np.zeros(0)
        self._degrees = np.zeros(0)
        self._limit = 0.0
        self._band = (0.0, 0.0)
        self.follow_theme()

    def prepare(self) -> None:
        above = self.plot.getPlotItem()
        above.setLabel("left", "coherence")
        above.setYRange(0, 1, padding=0.02)
        above.getAxis("bottom").setStyle(showValues=False)
        self._below = self.add_plot_below(FrequencyAxis("bottom")).getPlotItem()
        self._below.setLabel("left", "phase, °")
        self._below.setLabel("bottom", "frequency, Hz")
        self._below.setYRange(-180, 180, padding=0.02)
        self._below.getAxis("left").setTicks([[(-90, "−90"), (0, "0"), (90, "90")]])
        self._edges = [pg.InfiniteLine() for _ in range(4)]  # of the band that decided, in both plots
        self._chance = pg.InfiniteLine(angle=0)
        self._curve = pg.PlotCurveItem(antialias=True)
        self._zero = pg.InfiniteLine(pos=0, angle=0)
        self._dots = pg.ScatterPlotItem(size=4, pen=None)
        for item in (*self._edges[:2], self._chance, self._curve):
            above.addItem(item, ignoreBounds=True)
        for item in (*self._edges[2:], self._zero, self._dots):
            self._below.addItem(item, ignoreBounds=True)
        for plot in (above, self._below):
            plot.getAxis("left").setWidth(48)

    def show_finding(self, finding: Finding | None) -> None:
        """Show what the finding of the measurement says."""
        evidence = finding.evidence if finding is not None else None
        if evidence is None or not evidence.coherence_hz:
            self.show_plot(False)
            return
        self.show_coherence(
            np.asarray(evidence.coherence_hz),
            np.asarray(evidence.coherence),
            np.asarray(evidence.phase_rad),
            band_hz=(evidence.band_low_hz, evidence.band_high_hz),
        )

    def show_arrays(self, coherence: Coherence) -> None:
        """Show what was measured over a passage."""
        hertz, squared, phase = per_octave(
            np.asarray(coherence.frequency_hz),
            np.asarray(coherence.coherence),
            np.asarray(coherence.phase_rad),
        )
        self.show_coherence(hertz, squared, phase, unreliable_below=coherence.unreliable_below)

    def show_coherence(
        self,
        frequency_hz: np.ndarray,
        coherence: np.ndarray,
        phase_rad: np.ndarray,
        *,
        unreliable_below: float = 0.0,
        band_hz: tuple[float, float] = (0.0, 0.0),
    ) -> None:
        """Show arrays of one length. `band_hz`: the part of the spectrum that decided the arrival."""
        audible = frequency_hz >= 15.0
        self._hertz = np.log10(frequency_hz[audible])
        self._coherence = coherence[audible]
        self._degrees = np.degrees(np.angle(np.exp(1j * phase_rad[audible])))
        self._limit, self._band = unreliable_below, band_hz
        self.show_plot(len(self._hertz) > 1)
        if not self.has_plot:
            return
        low, high = math.log10(20), min(math.log10(20_000), float(self._hertz[-1]))
        for item in (self.plot.getPlotItem(), self._below):
            item.getViewBox().setLimits(xMin=low, xMax=high, maxXRange=high - low)
        self.plot.setXRange(low, high, padding=0)
        self.cursor_line.setVisible(False)
        self.redraw(self.theme)
        self.summarise(self._summary())

    def redraw(self, theme: Theme) -> None:
        low, high = self._band
        for number, edge in enumerate(self._edges):
            edge.setVisible(high > low > 0)
            edge.setPen(pg.mkPen(theme.ok, width=1, style=Qt.PenStyle.DashLine))
            if high > low > 0:
                edge.setValue(math.log10((low, high)[number % 2]))
        self._chance.setVisible(self._limit > 0)
        self._chance.setValue(self._limit)
        self._chance.setPen(pg.mkPen(theme.warning, width=1, style=Qt.PenStyle.DotLine))
        self._curve.setPen(pg.mkPen(theme.text, width=1))
        self._curve.setData(self._hertz, self._coherence)
        self._zero.setPen(pg.mkPen(theme.edge, width=1))
        meant = self._meant()
        self._dots.setData(self._hertz[meant], self._degrees[meant], brush=pg.mkBrush(theme.text))

    def _meant(self) -> np.ndarray:
        """Frequencies where phase means something."""
        return np.flatnonzero(self._coherence > max(self._limit, 0.2))

    def _summary(self) -> str:
        low, high = self._band
        band = ""
        if high > low > 0:
            band = f" Dashed: {frequency_text(low)} to {frequency_text(high)} decided the arrival."
        if self._limit:
            band += " Dotted: chance alone stays below this."
        return f"Mean coherence {float(np.mean(self._coherence)):.2f}.{band}"

    def cursor_moved(self, x: float) -> None:
        index = nearest(self._hertz, x)
        if index is not None:
            phase = f"phase {signed(float(self._degrees[index]), 0)}°"
            self.say(
                f"{frequency_text(float(10 ** self._hertz[index]))}: "
                f"coherence {self._coherence[index]:.2f}, {phase}"
            )

    def step_cursor(self, key: Qt.Key, modifiers: Qt.KeyboardModifier) -> float | None:
        if key not in (Qt.Key.Key_Left, Qt.Key.Key_Right):
            return None
        x = float(self.cursor_line.value()) if self.cursor_line.isVisible() else 3.0
        there = following(self._hertz, x, 1 if key == Qt.Key.Key_Right else -1)
        return x if there is None else there
