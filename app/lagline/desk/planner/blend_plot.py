"""What the blend does to each frequency as planned: the sum of all lanes, before anything is shifted."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QWidget

from lagline.desk.panels.figures import frequency_text
from lagline.desk.panels.plot_pane import PlotPane
from lagline.desk.planner.figures import dips_text, level_text
from lagline.desk.theme import Theme
from lagline.jobs.plan import blend_db, blend_dips
from lagline.session.plan import Plan

POINTS = 4000
LOW_HZ, HIGH_HZ = 20.0, 20_000.0
FLOOR_DB = -40.0
SEMITONE = np.log10(2) / 12


class BlendPlot(PlotPane):
    """Level of the whole blend against its loudest lane alone. Left and Right go by a semitone, Up and Down
    from dip to dip."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(
            "Blend as planned",
            "Nothing to sum yet",
            "Add two lanes to see what their blend does to each frequency.",
            parent,
            frequency_axis=True,
        )
        self.setToolTip("Left and Right move by a semitone, Up and Down from dip to dip.")
        self._plan = Plan()
        self._dips = np.zeros(0)
        self._about_dips = ""
        self._x = np.linspace(np.log10(LOW_HZ), np.log10(HIGH_HZ), POINTS)
        self.follow_theme()

    def prepare(self) -> None:
        self.plot.setLabel("bottom", "Hz")
        self.plot.setLabel("left", "dB against the loudest lane")
        self.limit_view(float(self._x[0]), float(self._x[-1]))
        self.plot.setXRange(float(self._x[0]), float(self._x[-1]), padding=0)
        self._zero = pg.InfiniteLine(pos=0, angle=0)
        self._curve = pg.PlotCurveItem()
        for item in (self._zero, self._curve):
            self.plot.addItem(item, ignoreBounds=True)

    def show_plan(self, plan: Plan) -> None:
        """Draw what the plan's blend does to each frequency; needs two lanes."""
        self._plan = plan
        self.show_plot(len(plan.lanes) >= 2)
        if self.has_plot:
            dips = blend_dips(plan)
            self._dips = np.log10([dip.frequency_hz for dip in dips] or [1.0])
            self._about_dips = dips_text(plan, dips)
            self.redraw(self.theme)
            self.say(self._about_dips)

    def redraw(self, theme: Theme) -> None:
        level = np.maximum(blend_db(self._plan, 10**self._x), FLOOR_DB)
        self._zero.setPen(pg.mkPen(theme.edge, width=1))
        self._curve.setData(self._x, level)
        self._curve.setPen(pg.mkPen(theme.text, width=1))
        self.plot.setYRange(max(float(level.min()) - 3, FLOOR_DB), float(level.max()) + 3, padding=0)

    def cursor_moved(self, x: float) -> None:
        hz = 10**x
        level = float(blend_db(self._plan, [hz])[0])
        here = f"{frequency_text(hz)}: {level_text(level)} against the loudest lane alone"
        self.say(f"{here}\n{self._about_dips}")

    def step_cursor(self, key: Qt.Key, modifiers: Qt.KeyboardModifier) -> float | None:
        x = float(self.cursor_line.value()) if self.cursor_line.isVisible() else float(self._x[0])
        if key in (Qt.Key.Key_Left, Qt.Key.Key_Right):
            x += SEMITONE if key == Qt.Key.Key_Right else -SEMITONE
            return float(np.clip(x, self._x[0], self._x[-1]))
        if key in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            up = key == Qt.Key.Key_Up
            ahead = self._dips[self._dips > x + 1e-9 if up else self._dips < x - 1e-9]
            if not len(ahead):
                return x
            return float(ahead[0] if up else ahead[-1])
        if key == Qt.Key.Key_Home:
            return float(self._x[0])
        return float(self._x[-1]) if key == Qt.Key.Key_End else None
