"""The tone of a combination: each third octave against the combination that has most of it."""

from __future__ import annotations

import math

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt

from lagline.combinations.facts import BoardFacts, CellFacts
from lagline.desk.panels.curves import following, nearest
from lagline.desk.panels.figures import frequency_text, signed
from lagline.desk.panels.plot_pane import PlotPane
from lagline.desk.theme import Theme

MOST_MARKS = 8
LEAST_DOWN_DB, MOST_DOWN_DB = 6.0, 40.0
_HEIGHT = 210


class CellPlot(PlotPane):
    """Bars: third octaves at equal loudness, 0 dB for the fullest combination. A line: the same lanes as
    recorded. Dotted: notches.

    Receives `show_cell(board, facts, name)`. Keys: Left and Right step through the bands.
    """

    def __init__(self) -> None:
        super().__init__(
            "Tone of this combination",
            "No tone yet",
            "It is measured in a moment.",
            frequency_axis=True,
        )
        self.setToolTip(
            "Each third octave against the combination that has most of it, at equal loudness. "
            "Line: as recorded. Dotted: notches."
        )
        self.setFixedHeight(_HEIGHT)
        self._centres = self._tone = np.zeros(0)
        self._recorded: np.ndarray | None = None
        self._notches: tuple[float, ...] = ()
        self._bands: tuple[float, ...] = ()
        self.follow_theme()
        self.hide()

    def prepare(self) -> None:
        """Axes and empty items."""
        self.plot.setLabel("bottom", "frequency, Hz")
        self.plot.setLabel("left", "tone, dB")
        self._bars: pg.BarGraphItem | None = None
        self._line = pg.PlotCurveItem(antialias=True)
        self._line.setZValue(5)
        self.plot.addItem(self._line, ignoreBounds=True)
        self._marks = [pg.InfiniteLine() for _ in range(MOST_MARKS)]
        for mark in self._marks:
            self.plot.addItem(mark, ignoreBounds=True)

    def show_cell(self, board: BoardFacts | None, facts: CellFacts | None, name: str) -> None:
        """Show the tone of a cell of the board; None while it isn't measured."""
        if board is None or facts is None or not math.isfinite(facts.loudness_lufs):
            self.show_plot(False)
            return
        recorded = board.as_recorded(facts.cell)
        self._bands, self._notches = board.bands_hz, tuple(one.frequency_hz for one in facts.notches)
        self._centres, self._tone = np.log10(board.bands_hz), np.array(facts.tone_db)
        self._recorded = np.array(recorded.tone_db) if recorded is not None else None
        self.show_plot(True)
        low, high = float(self._centres[0]) - 0.05, float(self._centres[-1]) + 0.05
        self.limit_view(low, high)
        self.plot.setXRange(low, high, padding=0)
        down_db = min(max(-1.1 * float(self._tone.min()), LEAST_DOWN_DB), MOST_DOWN_DB)
        self.plot.setYRange(-down_db, 0.5, padding=0)
        self.redraw(self.theme)
        least = int(np.argmin(self._tone))
        below = f"{signed(float(self._tone[least]), 1)} dB in the third octave of"
        self.summarise(f"{name}: {below} {frequency_text(self._bands[least])}, against the fullest.")

    def redraw(self, theme: Theme) -> None:
        """Draw in the colours of a theme."""
        if self._bars is None:
            self._bars = pg.BarGraphItem(x=self._centres, height=self._tone, width=0.08)
            self.plot.addItem(self._bars, ignoreBounds=True)
        pen, brush = pg.mkPen(theme.text_muted, width=1), pg.mkBrush(theme.line)
        self._bars.setOpts(x=self._centres, height=self._tone, pen=pen, brush=brush)
        self._line.setPen(pg.mkPen(theme.version("original"), width=1))
        if self._recorded is None:
            self._line.setData([], [])
        else:
            self._line.setData(self._centres, self._recorded)
        for number, mark in enumerate(self._marks):
            mark.setVisible(number < len(self._notches))
            if number < len(self._notches):
                mark.setValue(math.log10(self._notches[number]))
                mark.setPen(pg.mkPen(theme.text_muted, width=1, style=Qt.PenStyle.DotLine))

    def cursor_moved(self, x: float) -> None:
        """Say what lies under the cursor."""
        at = nearest(self._centres, x)
        if at is None:
            return
        recorded = ""
        if self._recorded is not None:
            recorded = f", as recorded {signed(float(self._recorded[at]), 1)} dB"
        tone = signed(float(self._tone[at]), 1)
        self.say(f"{frequency_text(self._bands[at])} third octave: {tone} dB{recorded}.")

    def step_cursor(self, key: Qt.Key, modifiers: Qt.KeyboardModifier) -> float | None:
        """The next or last band."""
        if key not in (Qt.Key.Key_Left, Qt.Key.Key_Right):
            return None
        x = float(self.cursor_line.value()) if self.cursor_line.isVisible() else 3.0
        there = following(self._centres, x, 1 if key == Qt.Key.Key_Right else -1)
        return x if there is None else there
