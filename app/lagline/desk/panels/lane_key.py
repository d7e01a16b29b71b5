"""Which colour is which lane, and which lanes are drawn."""

from __future__ import annotations

from PySide6.QtCore import QRect, QSize, Qt, Signal
from PySide6.QtGui import QColor, QIcon, QPainter, QPixmap
from PySide6.QtWidgets import QCheckBox, QLayout, QLayoutItem, QSizePolicy, QWidget

from lagline.desk.panels.themed import Themed
from lagline.desk.theme import GAP, PAD, Theme
from lagline.session.values import Session


class FlowLayout(QLayout):
    """Widgets from left to right, in as many lines as the width asks for."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._items: list[QLayoutItem] = []
        self.setContentsMargins(0, 0, 0, 0)

    def addItem(self, item: QLayoutItem) -> None:
        self._items.append(item)

    def count(self) -> int:
        return len(self._items)

    def itemAt(self, index: int) -> QLayoutItem | None:
        return self._items[index] if 0 <= index < len(self._items) else None

    def takeAt(self, index: int) -> QLayoutItem | None:
        return self._items.pop(index) if 0 <= index < len(self._items) else None

    def hasHeightForWidth(self) -> bool:
        return True

    def heightForWidth(self, width: int) -> int:
        return self._arrange(QRect(0, 0, width, 0), move=False)

    def setGeometry(self, rect: QRect) -> None:
        super().setGeometry(rect)
        self._arrange(rect, move=True)

    def sizeHint(self) -> QSize:
        return self.minimumSize()

    def minimumSize(self) -> QSize:
        size = QSize()
        for item in self._items:
            size = size.expandedTo(item.minimumSize())
        return size

    def _arrange(self, rect: QRect, *, move: bool) -> int:
        x, y, line = rect.x(), rect.y(), 0
        for item in self._items:
            size = item.sizeHint()
            width = min(size.width(), rect.width())
            if x > rect.x() and x + width > rect.right() + 1:
                x, y, line = rect.x(), y + line + GAP, 0
            if move:
                item.setGeometry(QRect(x, y, width, size.height()))
            x += width + PAD
            line = max(line, size.height())
        return y + line - rect.y()


class LaneKey(Themed):
    """A tick box a lane, with its colour. Unticked lanes are not drawn; nothing is muted by it."""

    hidden_changed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._boxes: dict[str, QCheckBox] = {}
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
        lanes = session.lanes if session is not None else ()
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
                self._boxes[lane.id] = box
                self._flow.addWidget(box)
        for lane in lanes:
            box = self._boxes[lane.id]
            box.setText(lane.name)
            box.setToolTip(f"Draw {lane.name} here (what is heard does not change)")
        self.apply_theme(self.theme)

    def apply_theme(self, theme: Theme) -> None:
        for index, box in enumerate(self._boxes.values()):
            box.setIcon(_swatch(theme.lane(index), self.devicePixelRatioF()))

    def _toggled(self) -> None:
        self.hidden_changed.emit()


def _swatch(colour: str, ratio: float) -> QIcon:
    """A short line in the lane's colour, as it is drawn."""
    pixmap = QPixmap(round(14 * ratio), round(14 * ratio))
    pixmap.setDevicePixelRatio(ratio)
    pixmap.fill(Qt.GlobalColor.transparent)
    painter = QPainter(pixmap)
    painter.fillRect(QRect(0, 5, 14, 4), QColor(colour))
    painter.end()
    return QIcon(pixmap)
