"""What the desk shows before a take is open: what to do, and what will happen then."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPushButton, QScrollArea, QVBoxLayout, QWidget

from lagline.desk.plain import plain_tip
from lagline.desk.theme import GAP, MARGIN, PAD, theme_of

STEPS = (
    ("Drop recordings of one performance here", "files or a folder: close mic, room mic, direct line, …"),
    ("Measure", "how late each lane hears the source, and whether it is upside down"),
    ("Accept or nudge", "drag a lane’s grip, type a figure, or leave it: distance is part of the sound"),
    ("Press 1 and 2", "hear original and shifted at equal loudness, then decide"),
    ("Deliver", "aligned files for any editor, a blend, or a delay sheet"),
)
MOST_OFFERED = 5


class EmptyDesk(QWidget):
    """What the desk shows without a take: ways to open one, and those opened lately."""

    open_requested = Signal()
    folder_requested = Signal()
    demo_requested = Signal()
    recent_requested = Signal(object)  # Path

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._is_target = False
        self.setAccessibleName("Empty desk")
        self.setAccessibleDescription("Open recordings of one performance, or the demo session.")
        title = QLabel("Line up the recordings of one performance")
        font = title.font()
        font.setPointSizeF(font.pointSizeF() * 1.6)
        font.setBold(True)
        title.setFont(font)
        title.setWordWrap(True)
        column = QVBoxLayout()
        column.setSpacing(MARGIN)
        column.addWidget(title)
        column.addSpacing(PAD)
        for number, (what, more) in enumerate(STEPS, 1):
            column.addLayout(self._step(number, what, more))
        column.addSpacing(PAD)
        column.addLayout(self._buttons())
        self._recent_title = QLabel("Lately")
        self._recent_title.setProperty("muted", True)
        self._recent = QVBoxLayout()
        self._recent.setSpacing(GAP)
        column.addWidget(self._recent_title)
        column.addLayout(self._recent)
        middle = QHBoxLayout()
        block = QWidget()
        block.setLayout(column)
        block.setMaximumWidth(620)
        column.setContentsMargins(0, 0, 0, 0)
        middle.addStretch(1)
        middle.addWidget(block, 8)
        middle.addStretch(1)
        inner = QWidget()
        around = QVBoxLayout(inner)
        around.setContentsMargins(2 * MARGIN, MARGIN, 2 * MARGIN, MARGIN)
        around.addStretch(1)
        around.addLayout(middle)
        around.addStretch(1)
        scroll = QScrollArea()  # for windows that are too low for all of it
        scroll.setFrameShape(QFrame.Shape.NoFrame)
        scroll.setWidgetResizable(True)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        scroll.setWidget(inner)
        scroll.setStyleSheet("QScrollArea, QScrollArea > QWidget > QWidget { background: transparent; }")
        outer = QVBoxLayout(self)
        outer.setContentsMargins(2 * MARGIN, 2 * MARGIN, 2 * MARGIN, 2 * MARGIN)
        outer.addWidget(scroll)
        self.show_recent(())

    def _step(self, number: int, what: str, more: str) -> QHBoxLayout:
        line = QHBoxLayout()
        line.setSpacing(MARGIN)
        figure = QLabel(str(number))
        figure.setFixedWidth(18)
        figure.setProperty("muted", True)
        figure.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignTop)
        label, detail = QLabel(what), QLabel(more)
        label.setProperty("heading", True)
        detail.setProperty("muted", True)
        for text in (label, detail):
            text.setWordWrap(True)
        words = QVBoxLayout()
        words.setSpacing(0)
        words.addWidget(label)
        words.addWidget(detail)
        line.addWidget(figure)
        line.addLayout(words, 1)
        return line

    def _buttons(self) -> QHBoxLayout:
        self.open = QPushButton("Open recordings…")
        self.open.setToolTip("Open recordings or a session (Ctrl+O)")
        self.open.setDefault(True)
        self.folder = QPushButton("Open a folder…")
        self.folder.setToolTip("Open every recording in a folder (Ctrl+Shift+O)")
        self.demo = QPushButton("Open the demo session")
        self.demo.setToolTip("A synthesised take whose arrivals are known exactly")
        self.open.clicked.connect(self.open_requested)
        self.folder.clicked.connect(self.folder_requested)
        self.demo.clicked.connect(self.demo_requested)
        line = QHBoxLayout()
        line.setSpacing(PAD)
        for button in (self.open, self.folder, self.demo):
            line.addWidget(button)
        line.addStretch(1)
        return line

    def show_recent(self, paths: Sequence[Path]) -> None:
        """List sessions that were open lately, newest first."""
        while self._recent.count():
            item = self._recent.takeAt(0)
            widget = item.widget() if item is not None else None
            if widget is not None:
                widget.deleteLater()
        for path in paths[:MOST_OFFERED]:
            button = _RecentButton(path)
            button.asked.connect(self.recent_requested)
            self._recent.addWidget(button, 0, Qt.AlignmentFlag.AlignLeft)
        self._recent_title.setVisible(bool(paths))

    def show_target(self, on: bool) -> None:
        """Something that can be opened is held over the desk."""
        self._is_target = on
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        theme = theme_of(self.palette())
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(theme.surface))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        pen = QPen(QColor(theme.accent if self._is_target else theme.edge), 3 if self._is_target else 1.5)
        pen.setStyle(Qt.PenStyle.DashLine)
        painter.setPen(pen)
        frame = QRectF(self.rect()).adjusted(MARGIN, MARGIN, -MARGIN, -MARGIN)
        painter.drawRoundedRect(frame, MARGIN, MARGIN)


class _RecentButton(QPushButton):
    asked = Signal(object)

    def __init__(self, path: Path) -> None:
        super().__init__(f"{path.stem}   {path.parent}".replace("&", "&&"))
        self._path = path
        self.setToolTip(plain_tip(str(path)))
        self.clicked.connect(self._ask)

    def _ask(self) -> None:
        self.asked.emit(self._path)
