"""The match curve: how well a lane fits the anchor at every arrival, with its sign."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, QSizeF, Qt, Signal
from PySide6.QtWidgets import QWidget

from lagline.desk.amounts import Unit
from lagline.desk.panels.curves import following, peak_places, refined_places
from lagline.desk.panels.figures import place_text, signed
from lagline.desk.panels.label_places import label_boxes, mark_box
from lagline.desk.panels.plot_pane import PlotPane
from lagline.desk.theme import Theme
from lagline.session.findings import Finding
from lagline.session.values import Session

ROOM_SAMPLES, ROOM = 60.0, 0.15  # shown about the candidates: at least, and as part of their spread
FINDING = "finding"
HARDLY = 0.05
REACH_PX = 7.0  # a pointer this near to a peak means the peak


class MatchPlot(PlotPane):
    """Match against arrival, -1..1: below zero the lane fits when it is flipped.

    Signals
    -------
    place_requested(str lane_id, float arrival_samples) : put the lane so that this arrival is lined up: its
        shift becomes -arrival_samples. A click, or Enter at the cursor. A click near a peak means the peak;
        with Shift it means exactly that place.

    Keys: Left and Right 1 sample, with Shift 0.1, with Ctrl 10; Up and Down the next and previous peak;
    Home the finding; End the whole curve; Enter puts the lane at the cursor. The wheel zooms.
    """

    place_requested = Signal(str, float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(
            "Match against arrival",
            "No match curve yet",
            "Measure the take and choose a lane to see how well it fits the anchor at every "
            "arrival. Click a peak to put the lane there.",
            parent,
        )
        self.setToolTip(
            "Click a peak to put the lane there (Shift: exactly at the pointer). Left and Right move by 1 "
            "sample, Shift 0.1, Ctrl 10; Up and Down change peak; Enter puts the lane there. "
            "End shows the whole curve."
        )
        self.unit: Unit = "samples"
        self._session: Session | None = None
        self._finding: Finding | None = None
        self._x: np.ndarray = np.zeros(0)
        self._y: np.ndarray = np.zeros(0)
        self._peaks = np.zeros(0)
        self._marks: list[tuple[float, float, str]] = []  # place, height and name of each candidate
        self.follow_theme()

    def prepare(self) -> None:
        self.plot.setLabel("bottom", "arrival, samples")
        self.plot.setLabel("left", "match")
        box = self.plot.getPlotItem().getViewBox()
        box.sigRangeChanged.connect(self._place_labels)
        box.sigResized.connect(self._place_labels)
        self._zero = pg.InfiniteLine(pos=0, angle=0)
        self._curve = pg.PlotCurveItem(antialias=True)
        self._now = pg.InfiniteLine()
        self._first_sound = pg.InfiniteLine()
        self._candidates = pg.ScatterPlotItem()
        self._labels: list[pg.TextItem] = []
        for item in (self._zero, self._curve, self._now, self._first_sound, self._candidates):
            self.plot.addItem(item, ignoreBounds=True)
        self._now_label = self._new_label()

    def show_finding(self, session: Session | None, finding: Finding | None) -> None:
        """Show a lane's curve, its runners-up, and where the current version has the lane."""
        same_curve = finding is self._finding and session is not None
        version_id = self._session.current_version_id if self._session is not None else None
        self._session, self._finding = session, finding
        curve = finding.evidence.curve if finding is not None else ()
        self.show_plot(bool(curve) and session is not None)
        if not self.has_plot or finding is None:
            return
        if not same_curve:
            evidence = finding.evidence
            self._y = np.asarray(curve, dtype=np.float64)
            self._x = evidence.curve_start_samples + evidence.curve_step_samples * np.arange(len(self._y))
            at = refined_places(self._y, peak_places(self._y))
            self._peaks = evidence.curve_start_samples + evidence.curve_step_samples * at
            self.limit_view(float(self._x[0]), float(self._x[-1]))
            self.plot.setXRange(*self._interesting(session, finding), padding=0)
            height = max(1.3 * float(np.abs(self._y).max()), 0.1)
            self.plot.setYRange(-height, height, padding=0)
            self.cursor_line.setVisible(False)
            self.redraw(self.theme)
            self.summarise(self._summary())
        if session is not None:
            if same_curve and session.current_version_id != version_id:
                self.redraw(self.theme)
            self._now.setValue(-session.current_version.move(finding.lane_id).shift_samples)
            self._place_labels()

    def redraw(self, theme: Theme) -> None:
        finding = self._finding
        if finding is None:
            return
        self._zero.setPen(pg.mkPen(theme.edge, width=1))
        self._curve.setPen(pg.mkPen(theme.text, width=1))
        self._curve.setData(self._x, self._y)
        now = theme.version(self._session.current_version_id if self._session is not None else "")
        self._now.setPen(pg.mkPen(now, width=1))
        self._now_label.setColor(now)
        self._now_label.fill = pg.mkBrush(theme.surface)
        first = finding.first_sound_samples
        self._first_sound.setPen(pg.mkPen(theme.text_muted, width=1, style=Qt.PenStyle.DotLine))
        self._first_sound.setVisible(first is not None)
        if first is not None:
            self._first_sound.setValue(first)
        self._mark_candidates(theme, finding)

    def _interesting(self, session: Session | None, finding: Finding) -> tuple[float, float]:
        """The stretch that holds every candidate and the lane as it is now, with room about it."""
        places = [runner.arrival_samples for runner in finding.runners_up]
        if finding.arrival_samples is not None:
            places.append(finding.arrival_samples)
        if session is not None:
            places.append(-session.current_version.move(finding.lane_id).shift_samples)
        inside = [place for place in places if self._x[0] <= place <= self._x[-1]]
        if not inside:
            return float(self._x[0]), float(self._x[-1])
        room = max(ROOM_SAMPLES, ROOM * (max(inside) - min(inside)))
        low, high = max(min(inside) - room, self._x[0]), min(max(inside) + room, self._x[-1])
        return float(low), float(high)

    def _mark_candidates(self, theme: Theme, finding: Finding) -> None:
        marks = [(runner.arrival_samples, str(n + 1)) for n, runner in enumerate(finding.runners_up)]
        if finding.arrival_samples is not None:
            marks.insert(0, (finding.arrival_samples, FINDING))
        marks = [mark for mark in marks if self._x[0] <= mark[0] <= self._x[-1]]
        places = np.array([place for place, _ in marks])
        heights = np.interp(places, self._x, self._y)
        kinds = [text == FINDING for _, text in marks]
        self._candidates.setData(
            places,
            heights,
            symbol=["o" if is_finding else "d" for is_finding in kinds],
            size=9,
            pen=pg.mkPen(theme.text, width=1),
            brush=[pg.mkBrush(theme.ok if is_finding else theme.surface) for is_finding in kinds],
        )
        while len(self._labels) < len(marks):
            self._labels.append(self._new_label())
        for label, (_, text) in zip(self._labels, marks, strict=False):
            label.setText(text, color=theme.text)
            label.fill = pg.mkBrush(theme.surface)
        self._marks = [
            (float(x), float(y), text) for x, y, (_, text) in zip(places, heights, marks, strict=True)
        ]
        self._place_labels()

    def _place_labels(self) -> None:
        """Beside its mark, where there is room; the less likely of two that collide goes without."""
        per_x, per_y = self.per_pixel()
        if not len(self._x):
            return
        box = self.plot.getPlotItem().getViewBox().viewRect()
        view = QRectF(box.left() / per_x, -box.bottom() / per_y, box.width() / per_x, box.height() / per_y)
        marks = [QPointF(x / per_x, -y / per_y) for x, y, _ in self._marks]
        now = self._place_now(view, marks)
        boxes = label_boxes(
            marks,
            [self._size_of(text) for _, _, text in self._marks],
            [y >= 0 for _, y, _ in self._marks],
            view,
            [now],
            self._crosses,
        )
        for label, place in zip(self._labels, boxes, strict=False):
            label.setVisible(place is not None)
            if place is not None:
                self._put(label, place)
        for label in self._labels[len(boxes) :]:
            label.setVisible(False)

    def _place_now(self, view: QRectF, marks: list[QPointF]) -> QRectF:
        """The line's name at its foot or head; where the line is out of sight, an arrow that points to it."""
        per_x, _ = self.per_pixel()
        x = float(self._now.value()) / per_x
        text = "◀ now" if x < view.left() else "now ▶" if x > view.right() else "now"
        size = self._size_of(text)
        left = x - size.width() - 2 if x - size.width() - 2 >= view.left() else x + 2
        left = min(max(left, view.left()), view.right() - size.width())
        ends = [QRectF(QPointF(left, top), size) for top in (view.bottom() - size.height(), view.top())]
        if np.interp(self._now.value(), self._x, self._y) < 0:
            ends.reverse()  # to the side where the curve is not
        squares = [mark_box(mark) for mark in marks]
        place = next((end for end in ends if not any(end.intersects(one) for one in squares)), ends[0])
        self._now_label.setText(text)
        self._now_label.setVisible(True)
        self._put(self._now_label, place)
        return place

    def _crosses(self, box: QRectF) -> bool:
        """Whether the curve or one of the upright lines runs through a box of pixels."""
        per_x, per_y = self.per_pixel()
        low, high = box.left() * per_x, box.right() * per_x
        lines = [line.value() for line in (self._now, self._first_sound) if line.isVisible()]
        if any(low - per_x <= line <= high + per_x for line in lines):
            return True
        inside = (low < self._x) & (self._x < high)
        heights = -np.append(np.interp((low, high), self._x, self._y), self._y[inside]) / per_y
        return bool(heights.max() >= box.top() and heights.min() <= box.bottom())

    def _size_of(self, text: str) -> QSizeF:
        metrics = self.fontMetrics()
        return QSizeF(metrics.horizontalAdvance(text) + 4.0, metrics.height() + 2.0)

    def _put(self, label: pg.TextItem, box: QRectF) -> None:
        per_x, per_y = self.per_pixel()
        label.setPos(box.center().x() * per_x, -box.center().y() * per_y)

    def _new_label(self) -> pg.TextItem:
        label = pg.TextItem(anchor=(0.5, 0.5))
        label.textItem.document().setDocumentMargin(1)
        label.setZValue(10)  # what has to cross it runs behind it
        self.plot.addItem(label, ignoreBounds=True)
        return label

    @property
    def label_boxes(self) -> list[tuple[str, QRectF]]:
        """What is written beside the marks and where, in pixels of the scene."""
        shown_ones = [label for label in (*self._labels, self._now_label) if label.isVisible()]
        return [(label.toPlainText(), label.mapRectToScene(label.boundingRect())) for label in shown_ones]

    def _summary(self) -> str:
        assert self._finding is not None
        found = len(self._peaks)
        if self._finding.arrival_samples is None:
            height = float(np.abs(self._y).max())
            return f"No arrival proposed. {found} peaks, up to {height:.2f}; too little else speaks for any."
        first = self._finding.first_sound_samples
        dotted = "" if first is None else f" Dotted: first sound, {signed(first, 1)} samples."
        return f"Finding at {signed(self._finding.arrival_samples, 2)} samples.{dotted}"

    def snapped(self, x: float, y: float, free: bool) -> float:
        x = float(np.clip(x, self._x[0], self._x[-1]))
        if free or not len(self._peaks):
            return x
        width, _ = self.per_pixel()
        near = self._peaks[np.abs(self._peaks - x) <= REACH_PX * width]
        if not len(near):
            return x
        heights = np.abs(np.interp(near, self._x, self._y))
        return float(near[int(np.argmax(heights))])  # of several, the one that stands out

    def cursor_moved(self, x: float) -> None:
        if self._session is None:
            return
        match = float(np.interp(x, self._x, self._y))
        fits = "fits flipped" if match < 0 else "fits as it is"
        if abs(match) < HARDLY:
            fits = "hardly fits"
        elif self._is_denied(x, match):
            fits = "but other evidence decides here"
        place = place_text(x, self._session.rate_hz, self._session.temperature_c, self.unit)
        self.say(f"{place}\nmatch {signed(match, 2)}, {fits}")

    def _is_denied(self, x: float, match: float) -> bool:
        """Whether at the finding's own place the match has another polarity than the finding tells."""
        finding = self._finding
        if finding is None or finding.arrival_samples is None or finding.told_polarity is None:
            return False
        is_there = abs(x - finding.arrival_samples) <= max(2 * self.per_pixel()[0], 0.5)
        return is_there and (match < 0) != (finding.told_polarity < 0)

    def cursor_chosen(self, x: float) -> None:
        if self._finding is not None:
            self.place_requested.emit(self._finding.lane_id, x)

    def step_cursor(self, key: Qt.Key, modifiers: Qt.KeyboardModifier) -> float | None:
        x = float(self.cursor_line.value()) if self.cursor_line.isVisible() else self._home()
        if key == Qt.Key.Key_Home:
            return self._home()
        if key == Qt.Key.Key_End:
            self.plot.setXRange(float(self._x[0]), float(self._x[-1]), padding=0)
            return x
        if key in (Qt.Key.Key_Left, Qt.Key.Key_Right):
            by = 1.0
            if modifiers & Qt.KeyboardModifier.ShiftModifier:
                by = 0.1
            elif modifiers & Qt.KeyboardModifier.ControlModifier:
                by = 10.0
            x += by if key == Qt.Key.Key_Right else -by
            return float(np.clip(x, self._x[0], self._x[-1]))
        if key in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            peak = following(self._peaks, x, 1 if key == Qt.Key.Key_Up else -1)
            return x if peak is None else peak
        return None

    def _home(self) -> float:
        assert self._finding is not None
        arrival = self._finding.arrival_samples
        return float(np.clip(0.0 if arrival is None else arrival, self._x[0], self._x[-1]))
