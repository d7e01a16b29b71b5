"""A plot with a read-out, a cursor for keys as well as the mouse, and the theme's colours.

pyqtgraph is kept to what it draws quickly: pens of 1 px, no fills between curves, no automatic clipping or
downsampling (those need an item that is already in a view).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFocusEvent, QKeyEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QApplication, QSizePolicy, QStackedLayout, QVBoxLayout, QWidget

from lagline.desk.panels.empty_state import EmptyState
from lagline.desk.panels.themed import Themed, plain_label, shown
from lagline.desk.theme import GAP, Theme

OCTAVES = (20.0, 31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)


class FrequencyAxis(pg.AxisItem):
    """A logarithmic frequency axis whose values are log10 of Hz, labelled at octaves."""

    def tickValues(self, low: float, high: float, size: float) -> list[tuple[float, list[float]]]:
        wanted = [math.log10(hertz) for hertz in OCTAVES]
        room = max(size / 44, 1)  # px a label needs
        step = max(math.ceil((high - low) / math.log10(2) / room), 1)
        start = OCTAVES.index(1000.0) % step
        return [(1.0, [value for value in wanted[start::step] if low <= value <= high])]

    def tickStrings(self, values: Sequence[float], scale: float, spacing: float) -> list[str]:
        return [_short(10**value) for value in values]


class PlotPane(Themed):
    """A titled plot. Subclasses draw into `self.plot` and answer cursor, click and keys.

    The plot itself is made when there is first something to draw: a dozen plots at the start would cost
    the window half a second.

    Hooks: `prepare()` once, when the plot has been made; `redraw(theme)`; `cursor_moved(x)`;
    `cursor_chosen(x)` (a click, or Enter); `step_cursor(key, modifiers)` which returns the new x or None
    when the key means nothing.
    """

    def __init__(
        self,
        title: str,
        empty_title: str,
        empty_text: str,
        parent: QWidget | None = None,
        *,
        frequency_axis: bool = False,
    ) -> None:
        super().__init__(parent)
        self.setAccessibleName(title)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._has_frequency_axis = frequency_axis
        self._plots: list[Any] = []
        self._has_plot = self._is_waiting = False
        self._said_before = ""  # the cursor came
        self._readout = plain_label()
        self._readout.setProperty("muted", True)
        self._readout.setMinimumHeight(2 * self.fontMetrics().height())
        self._readout.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft)
        shown_part = QWidget()
        self._column = QVBoxLayout(shown_part)
        self._column.setContentsMargins(GAP, GAP, GAP, GAP)
        self._column.setSpacing(GAP)
        self._column.addWidget(self._readout)
        self._usual_texts = self._empty_texts = (empty_title, empty_text)
        self.empty = EmptyState(empty_title, empty_text)
        self._pages = QStackedLayout(self)
        self._pages.addWidget(self.empty)
        self._pages.addWidget(shown_part)

    def _make(self) -> None:
        """The plot and its cursor."""
        axes = {"bottom": FrequencyAxis("bottom")} if self._has_frequency_axis else {}
        self.plot = _calm_plot(axes)
        self.plot.setAccessibleName(self.accessibleName())
        self._plots.append(self.plot)
        self._column.insertWidget(0, self.plot, 1)
        self.cursor_line = pg.InfiniteLine(angle=90, movable=False)
        self.cursor_line.setZValue(20)
        self.cursor_line.setVisible(False)
        self.plot.addItem(self.cursor_line, ignoreBounds=True)
        self.plot.scene().sigMouseMoved.connect(self._mouse_moved)
        self.plot.scene().sigMouseClicked.connect(self._mouse_clicked)
        self.prepare()
        self._dress_plots(self.theme)

    # ---- what subclasses answer

    def cursor_moved(self, x: float) -> None:
        """The cursor is at `x`: say so in the read-out."""

    def cursor_chosen(self, x: float) -> None:
        """The engineer clicked at `x`, or pressed Enter there."""

    def step_cursor(self, key: Qt.Key, modifiers: Qt.KeyboardModifier) -> float | None:
        """Where a key moves the cursor; None for a key that means nothing here."""
        return None

    def snapped(self, x: float, y: float, free: bool) -> float:
        """Where a pointer at plot coordinates (x, y) puts the cursor; `free`: Shift is held."""
        return x

    def prepare(self) -> None:
        """The plot has been made: label it, add what stays."""

    def redraw(self, theme: Theme) -> None:
        """Draw everything anew in the theme's colours. Only called while there is something to draw."""

    # ---- what subclasses use

    def show_plot(self, there_is_something: bool) -> None:
        """Show the plot, or the empty state. Ask before anything is drawn."""
        if there_is_something:
            self.make_ready()
        self._has_plot = there_is_something
        self._choose_page()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus if there_is_something else Qt.FocusPolicy.NoFocus)

    def make_ready(self) -> None:
        """Make the plot while there is time, so that what it will show does not have to wait for it."""
        if not self._plots:
            self._make()

    def add_plot_below(self, axis: pg.AxisItem) -> Any:
        """A second plot under the first, moving along with it sideways."""
        below = _calm_plot({"bottom": axis})
        below.setAccessibleName(self.accessibleName())
        below.getPlotItem().setXLink(self.plot.getPlotItem())
        self._plots.append(below)
        self._column.insertWidget(1, below, 1)
        return below

    def show_waiting(self, waiting: bool) -> None:
        """Say that it is being measured, in place of what was drawn of something else; or show again what
        there is, or what would be here."""
        self._is_waiting = waiting
        self.empty.say(*(("Measuring …", "It will be here in a moment.") if waiting else self._empty_texts))
        self._choose_page()

    def explain_empty(self, title: str = "", text: str = "") -> None:
        """Why there is nothing to draw, where it is not that nothing has been measured; empty: that it is."""
        self._empty_texts = (title, text) if title else self._usual_texts
        if not self._is_waiting:
            self.empty.say(*self._empty_texts)

    def _choose_page(self) -> None:
        self._pages.setCurrentIndex(1 if self._has_plot and not self._is_waiting else 0)

    @property
    def has_plot(self) -> bool:
        """There is something to draw, though it may not be shown while it is measured anew."""
        return self._has_plot

    @property
    def is_shown(self) -> bool:
        """The plot is what is to be seen."""
        return self._pages.currentIndex() == 1

    def say(self, text: str) -> None:
        """The read-out, and the same for assistive technology."""
        shown(self._readout, text)
        self.setAccessibleDescription(text)

    def summarise(self, text: str) -> None:
        """Another picture: its summary is what is read out when there is no cursor."""
        self._said_before = text
        self.cursor_line.setVisible(False)
        self.say(text)

    @property
    def said(self) -> str:
        """What is written above the plot: its summary, or the figures at the cursor."""
        return self._readout.text()

    def put_cursor(self, x: float) -> None:
        """Put the cursor at `x` of the plot's axis and read out what is there."""
        if not self.cursor_line.isVisible():
            self._said_before = self.said
        self.cursor_line.setValue(x)
        self.cursor_line.setVisible(True)
        self.cursor_moved(x)

    def per_pixel(self) -> tuple[float, float]:
        """Plot units one pixel is wide and high."""
        width, height = self.plot.getPlotItem().getViewBox().viewPixelSize()
        return float(width), float(height)

    def pixels_between(self, x: float, y: float, xs: np.ndarray, ys: np.ndarray) -> np.ndarray:
        """Distance on the screen of many points from one, in pixels, shape of `xs`."""
        width, height = self.per_pixel()
        return np.hypot((xs - x) / width, (ys - y) / height)

    def limit_view(self, x_low: float, x_high: float) -> None:
        """Keep zoom and pan within the data."""
        self.plot.getPlotItem().getViewBox().setLimits(
            xMin=x_low, xMax=x_high, maxXRange=max(x_high - x_low, 1e-9)
        )

    # ---- Qt

    def apply_theme(self, theme: Theme) -> None:
        if self._plots:
            self._dress_plots(theme)
            if self.has_plot:
                self.redraw(theme)

    def _dress_plots(self, theme: Theme) -> None:
        for plot in self._plots:
            plot.setBackground(QColor(theme.surface))
            for side in ("bottom", "left"):
                axis = plot.getPlotItem().getAxis(side)
                axis.setPen(pg.mkPen(theme.edge, width=1))
                axis.setTextPen(pg.mkPen(theme.text_muted))
            plot.getPlotItem().showGrid(x=True, y=True, alpha=0.15)
        self.cursor_line.setPen(pg.mkPen(theme.text, width=1, style=Qt.PenStyle.DashLine))

    def sizeHint(self) -> QSize:
        return QSize(360, 240)

    def minimumSizeHint(self) -> QSize:
        return QSize(200, 140)

    def _mouse_moved(self, where: QPointF) -> None:
        box = self.plot.getPlotItem().getViewBox()
        if not self.has_plot or not box.sceneBoundingRect().contains(where):
            return
        at = box.mapSceneToView(where)
        modifiers = self._modifiers()
        self.put_cursor(self.snapped(at.x(), at.y(), bool(modifiers & Qt.KeyboardModifier.ShiftModifier)))

    def leaveEvent(self, event: QEvent) -> None:
        """The cursor goes with the pointer, and the read-out is the summary again; keys keep theirs."""
        super().leaveEvent(event)
        if self._plots and self.has_plot and self.cursor_line.isVisible() and not self.hasFocus():
            self.cursor_line.setVisible(False)
            self.say(self._said_before)

    def _modifiers(self) -> Qt.KeyboardModifier:
        return QApplication.keyboardModifiers()

    def _mouse_clicked(self, event: object) -> None:
        box = self.plot.getPlotItem().getViewBox()
        where = event.scenePos()  # type: ignore[attr-defined]
        if (
            not self.has_plot
            or event.button() != Qt.MouseButton.LeftButton  # type: ignore[attr-defined]
            or not box.sceneBoundingRect().contains(where)
        ):
            return
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        at = box.mapSceneToView(where)
        free = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)  # type: ignore[attr-defined]
        x = self.snapped(at.x(), at.y(), free)
        self.put_cursor(x)
        self.cursor_chosen(x)

    def event(self, event: QEvent) -> bool:
        # The window's shortcuts use arrows too; while a plot has the focus they move its cursor.
        if (
            event.type() == QEvent.Type.ShortcutOverride
            and isinstance(event, QKeyEvent)
            and self.has_plot
            and event.key() in OUR_KEYS
        ):
            event.accept()
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        key = Qt.Key(event.key())
        if not self.has_plot or key not in OUR_KEYS:
            super().keyPressEvent(event)
            return
        if key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            if self.cursor_line.isVisible():
                self.cursor_chosen(float(self.cursor_line.value()))
            return
        x = self.step_cursor(key, event.modifiers())
        if x is None:
            super().keyPressEvent(event)
        else:
            self.put_cursor(x)
            self._bring_into_view(x)

    def _bring_into_view(self, x: float) -> None:
        box = self.plot.getPlotItem().getViewBox()
        (low, high), _ = box.viewRange()
        if not low <= x <= high:
            box.translateBy(x=x - (low + high) / 2)

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self.update()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        if self.hasFocus():
            painter = QPainter(self)
            painter.setPen(QColor(self.theme.accent))
            frame = QRectF(self.rect()).adjusted(0.5, 0.5, -0.5, -0.5)
            painter.drawRect(frame)
            painter.drawRect(frame.adjusted(1, 1, -1, -1))


OUR_KEYS = frozenset(
    {
        Qt.Key.Key_Left,
        Qt.Key.Key_Right,
        Qt.Key.Key_Up,
        Qt.Key.Key_Down,
        Qt.Key.Key_Home,
        Qt.Key.Key_End,
        Qt.Key.Key_Return,
        Qt.Key.Key_Enter,
    }
)


def _calm_plot(axes: Mapping[str, pg.AxisItem]) -> Any:
    """A PlotWidget (Any: pyqtgraph carries no usable types) without menu, buttons and frame, that zooms
    sideways only and leaves the focus to its pane."""
    plot = pg.PlotWidget(axisItems=dict(axes))
    plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    plot.setFrameShape(pg.PlotWidget.Shape.NoFrame)
    item = plot.getPlotItem()
    item.setMenuEnabled(False)
    item.hideButtons()
    item.setMouseEnabled(x=True, y=False)
    item.getViewBox().setDefaultPadding(0.0)
    # However little room a small screen leaves: in a view without size nothing has a place, and pyqtgraph
    # divides by it.
    item.getViewBox().setMinimumSize(1.0, 1.0)
    for side in ("bottom", "left"):
        item.getAxis(side).enableAutoSIPrefix(False)
    return plot


def _short(hertz: float) -> str:
    """An axis label: `125`, `1k`, `31.5`."""
    nominal = min(OCTAVES, key=lambda octave: abs(math.log(octave / hertz)))
    return f"{nominal / 1000:.0f}k" if nominal >= 1000 else f"{nominal:g}"
