"""The plan seen from above: source, microphones, distances; each can be dragged or moved by keys."""

from __future__ import annotations

import math

from PySide6.QtCore import QEvent, QPointF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QResizeEvent, QWheelEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from lagline.desk.panels.themed import Themed
from lagline.desk.planner.plan_drawing import draw_plan, lines_foot_px
from lagline.desk.planner.view_scale import ViewScale
from lagline.session.plan import Plan, PlannedLane

SOURCE = ""  # the source has no lane's name
REACH_PX = 16.0
STEP_M, FINE_M, COARSE_M = 0.1, 0.01, 1.0
FAN_RAD = math.radians(24)  # between lanes that have a distance but no place


def marker_m(plan: Plan, lane: PlannedLane) -> tuple[float, float] | None:
    """Where a lane is drawn on the floor: its place, or somewhere on its circle; None for a direct line."""
    if lane.place_m is not None:
        return lane.place_m[0], lane.place_m[1]
    if lane.distance_m is None:
        return None
    loose = [other.name for other in plan.lanes if other.place_m is None and other.distance_m is not None]
    turn = (loose.index(lane.name) - (len(loose) - 1) / 2) * FAN_RAD
    return (
        plan.source_m[0] + lane.distance_m * math.sin(turn),
        plan.source_m[1] + lane.distance_m * math.cos(turn),
    )


class PlanView(Themed):
    """Shows a plan from above; y points away from us.

    Signals
    -------
    place_requested(str name, float x_m, float y_m) : a microphone, or the source (name ""), was moved.
    distance_requested(str name, float metres) : the same of a lane that has a distance but no place.
    move_finished() : the drag is over.
    chosen(str name) : what the keys act on now.
    """

    place_requested = Signal(str, float, float)
    distance_requested = Signal(str, float)
    move_finished = Signal()
    chosen = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._plan = Plan()
        self._scale = ViewScale()
        self._fitted_to_size = True
        self._chosen = SOURCE
        self._held: str | None = None
        self._grip = QPointF()
        self._pan_from: QPointF | None = None
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName("Plan seen from above")
        self.setToolTip(
            "Drag the source or a microphone. Arrow keys move the chosen one by 10 cm, with Shift 1 cm, with "
            "Ctrl 1 m; Page Up and Page Down choose. Wheel zooms, dragging the floor pans, Home shows all."
        )
        self.follow_theme()

    # ---- what is shown

    def show_plan(self, plan: Plan) -> None:
        """Draw the plan from above; what is chosen stays chosen while it is there."""
        fresh = [lane.name for lane in plan.lanes] != [lane.name for lane in self._plan.lanes]
        self._plan = plan
        if self._chosen != SOURCE and self._chosen not in self._names():
            self._choose(SOURCE)
        if fresh and self._fitted_to_size:
            self.show_all()
        self._describe()
        self.update()

    def choose(self, name: str) -> None:
        """Make a lane, or the source (""), the one the keys act on."""
        if name != self._chosen and (name == SOURCE or name in self._names()):
            self._chosen = name
            self._describe()
            self.update()

    def show_all(self) -> None:
        """Zoom so that source and every microphone are in view."""
        self._fitted_to_size = True
        self._scale = self._scale.sized(self.width(), self.height()).fitted(
            self._markers().values(), lines_foot_px(self._plan, self.font())
        )
        self.update()

    @property
    def chosen_name(self) -> str:
        """Name of the lane that is chosen, or SOURCE."""
        return self._chosen

    def marker_px(self, name: str) -> QPointF:
        """Where the source ("") or a lane is drawn. Raises KeyError for a direct line."""
        return QPointF(*self._scale.to_px(*self._markers()[name]))

    def _names(self) -> list[str]:
        return [lane.name for lane in self._plan.lanes]

    def _markers(self) -> dict[str, tuple[float, float]]:
        found = {SOURCE: (self._plan.source_m[0], self._plan.source_m[1])}
        for lane in self._plan.lanes:
            at = marker_m(self._plan, lane)
            if at is not None:
                found[lane.name] = at
        return found

    def _describe(self) -> None:
        if self._chosen == SOURCE:
            self.setAccessibleDescription("The source is chosen.")
            return
        lane = self._plan.lane(self._chosen)
        way = (
            "a direct line" if lane.is_direct_line else f"{self._plan.distance_m(lane):.2f} m from the source"
        )
        self.setAccessibleDescription(f"{lane.name} is chosen: {way}.")

    # ---- painting

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        draw_plan(
            painter, self._scale, self._plan, self._markers(), self.theme, self.font(),
            chosen=self._chosen, is_focused=self.hasFocus(),
        )  # fmt: skip
        painter.end()

    def sizeHint(self) -> QSize:
        return QSize(560, 480)

    def minimumSizeHint(self) -> QSize:
        return QSize(260, 240)

    def resizeEvent(self, event: QResizeEvent) -> None:
        self._scale = self._scale.sized(self.width(), self.height())
        if self._fitted_to_size:
            self.show_all()

    # ---- mouse

    def _under(self, where: QPointF) -> str | None:
        near = {
            name: math.hypot(where.x() - at.x(), where.y() - at.y())
            for name in self._markers()
            for at in (self.marker_px(name),)
        }
        name = min(near, key=lambda each: (near[each], each != self._chosen))
        return name if near[name] <= REACH_PX else None

    def mousePressEvent(self, event: QMouseEvent) -> None:
        if event.button() not in (Qt.MouseButton.LeftButton, Qt.MouseButton.MiddleButton):
            return
        where = event.position()
        held = self._under(where) if event.button() == Qt.MouseButton.LeftButton else None
        if held is None:
            self._pan_from = where
            self.setCursor(Qt.CursorShape.ClosedHandCursor)
            return
        self._held, self._grip = held, where - self.marker_px(held)
        self._choose(held)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        where = event.position()
        if self._pan_from is not None:
            moved = where - self._pan_from
            self._scale, self._pan_from = self._scale.panned(moved.x(), moved.y()), where
            self._fitted_to_size = False
            self.update()
        elif self._held is not None:
            at = where - self._grip
            self._ask_place(self._held, *self._scale.to_m(at.x(), at.y()))
        else:
            hand = self._under(where) is not None
            self.setCursor(Qt.CursorShape.SizeAllCursor if hand else Qt.CursorShape.ArrowCursor)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        if self._held is not None:
            self.move_finished.emit()
        self._held = self._pan_from = None
        self.setCursor(Qt.CursorShape.ArrowCursor)

    def wheelEvent(self, event: QWheelEvent) -> None:
        at = event.position()
        self._scale = self._scale.zoomed(1.0015 ** event.angleDelta().y(), at.x(), at.y())
        self._fitted_to_size = False
        self.update()
        event.accept()

    # ---- keys

    def event(self, event: QEvent) -> bool:
        # Arrows and Home may be shortcuts of the window; while the plan has the focus they are ours.
        if (
            event.type() == QEvent.Type.ShortcutOverride
            and isinstance(event, QKeyEvent)
            and event.key() in KEYS
        ):
            event.accept()
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        key = Qt.Key(event.key())
        if key == Qt.Key.Key_Home:
            self.show_all()
        elif key in (Qt.Key.Key_PageUp, Qt.Key.Key_PageDown):
            names = [SOURCE, *self._names()]
            by = 1 if key == Qt.Key.Key_PageDown else -1
            self._choose(names[(names.index(self._chosen) + by) % len(names)])
        elif key in WAYS:
            held = event.modifiers()
            step = FINE_M if held & Qt.KeyboardModifier.ShiftModifier else STEP_M
            step = COARSE_M if held & Qt.KeyboardModifier.ControlModifier else step
            self._step(WAYS[key][0] * step, WAYS[key][1] * step)
        else:
            super().keyPressEvent(event)

    def _step(self, right_m: float, away_m: float) -> None:
        if self._chosen not in self._markers():
            return  # a direct line has no place to move
        lane = None if self._chosen == SOURCE else self._plan.lane(self._chosen)
        if lane is not None and lane.place_m is None:
            self.distance_requested.emit(lane.name, max((lane.distance_m or 0.0) + right_m + away_m, 0.0))
        else:
            x, y = self._markers()[self._chosen]
            self.place_requested.emit(self._chosen, x + right_m, y + away_m)
        self.move_finished.emit()

    def _ask_place(self, name: str, x_m: float, y_m: float) -> None:
        lane = None if name == SOURCE else self._plan.lane(name)
        if lane is not None and lane.place_m is None:
            source = self._plan.source_m
            self.distance_requested.emit(name, math.hypot(x_m - source[0], y_m - source[1]))
        else:
            self.place_requested.emit(name, round(x_m, 2), round(y_m, 2))

    def _choose(self, name: str) -> None:
        self.choose(name)
        self.chosen.emit(name)


WAYS = {
    Qt.Key.Key_Left: (-1, 0),
    Qt.Key.Key_Right: (1, 0),
    Qt.Key.Key_Up: (0, 1),
    Qt.Key.Key_Down: (0, -1),
}
KEYS = frozenset({*WAYS, Qt.Key.Key_Home, Qt.Key.Key_PageUp, Qt.Key.Key_PageDown})
