"""Which colour is which lane, and which lanes are drawn."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QRect, Qt, Signal
from PySide6.QtGui import QColor, QIcon, QPainter, QPixmap
from PySide6.QtWidgets import QCheckBox, QSizePolicy, QWidget

from lagline.desk.panels.flow import FlowLayout
from lagline.desk.panels.themed import Themed
from lagline.desk.plain import plain_tip
from lagline.desk.theme import LaneMark, Theme
from lagline.session.colours import lane_colours
from lagline.session.values import Lane, Session


class LaneKey(Themed):
    """A tick box a lane, with its colour. Unticked lanes are not drawn; nothing is muted by it.

    Signals: hidden_changed(); pointed_changed(lane_id or None): the pointer or the focus is on that lane, so
    that it can be told from the others without knowing its colour.
    """

    hidden_changed = Signal()
    pointed_changed = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._boxes: dict[str, QCheckBox] = {}
        self._lanes: tuple[Lane, ...] | None = None
        self._flow = FlowLayout(self)
        policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self.follow_theme()

    @property
    def hidden(self) -> frozenset[str]:
        """Ids of the lanes that are not to be drawn."""
        return frozenset(key for key, box in self._boxes.items() if not box.isChecked())

    def show_session(self, session: Session | None) -> None:
        """A box for each lane in its colour; boxes stay as they are while only shifts change."""
        lanes = session.lanes if session is not None else ()
        if lanes is self._lanes:
            return  # only shifts have changed
        self._lanes = lanes
        if [lane.id for lane in lanes] != list(self._boxes):
            hidden = self.hidden
            for box in self._boxes.values():
                self._flow.removeWidget(box)
                box.deleteLater()
            self._boxes = {}
            for lane in lanes:
                box = QCheckBox()
                box.setChecked(lane.id not in hidden)
                box.toggled.connect(self._toggled)
                box.installEventFilter(self)
                self._boxes[lane.id] = box
                self._flow.addWidget(box)
        for lane in lanes:
            box = self._boxes[lane.id]
            box.setText(lane.name)
            tip = f"Draw {lane.name} here; point at it to make it stand out. Nothing is muted."
            box.setToolTip(plain_tip(tip))
        self.apply_theme(self.theme)

    def apply_theme(self, theme: Theme) -> None:
        for lane_id, number in lane_colours(self._lanes or ()).items():
            swatch = _swatch(theme.lane(number), theme.lane_mark(number), self.devicePixelRatioF())
            self._boxes[lane_id].setIcon(swatch)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() in (QEvent.Type.Enter, QEvent.Type.FocusIn):
            self.pointed_changed.emit(next((key for key, box in self._boxes.items() if box is watched), None))
        elif event.type() in (QEvent.Type.Leave, QEvent.Type.FocusOut):
            self.pointed_changed.emit(None)
        return super().eventFilter(watched, event)

    def _toggled(self) -> None:
        self.hidden_changed.emit()


def _swatch(colour: str, mark: LaneMark, ratio: float) -> QIcon:
    """A short line in the lane's colour, as it is drawn."""
    pixmap = QPixmap(round(14 * ratio), round(14 * ratio))
    pixmap.setDevicePixelRatio(ratio)
    pixmap.fill(Qt.GlobalColor.transparent)
    painter = QPainter(pixmap)
    piece, step = {"whole": (14, 14), "dashed": (6, 8), "dotted": (3, 5)}[mark]
    for left in range(0, 14, step):
        painter.fillRect(QRect(left, 5, piece, 4), QColor(colour))
    painter.end()
    return QIcon(pixmap)
