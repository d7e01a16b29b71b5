"""One line for what went wrong or is worth knowing; it never takes the focus."""

from __future__ import annotations

import logging
from typing import Literal

from msgspec import Struct
from PySide6.QtCore import QEvent, QObject, Qt, QTimer, Signal
from PySide6.QtGui import QAccessible, QAccessibleEvent
from PySide6.QtWidgets import QApplication, QFrame, QHBoxLayout, QLabel, QPushButton, QToolButton, QWidget

from lagline.desk.icons import icon
from lagline.desk.theme import MARGIN, PAD, TARGET, theme_of
from lagline.log import details

_log = logging.getLogger(__name__)

NOTE_MS = 8000  # a note goes by itself, a problem stays until it is closed
MOST_WAITING = 20
Kind = Literal["problem", "done", "hint"]
SIGNS: dict[Kind, str] = {"problem": "warning", "done": "done", "hint": "hint"}


class _Note(Struct, frozen=True):
    text: str
    kind: Kind
    command: str
    button: str


class MessageBar(QFrame):
    """Shows problems one after another, in their order; the latest note once no problem is left."""

    action_requested = Signal(str)  # the command that the message's button stands for

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._waiting: list[str] = []
        self._note: _Note | None = None  # behind the problems
        self._kind: Kind = "done"
        self._command = ""
        self._sign = QLabel()
        self._text = QLabel()
        self._text.setTextFormat(Qt.TextFormat.PlainText)
        self._text.setWordWrap(True)
        self._text.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._action = QPushButton()
        self._action.clicked.connect(self._ask)
        self._copy = QPushButton("Copy details")
        self._copy.setToolTip("Copy this message with versions and the end of the log, to send with a report")
        self._copy.clicked.connect(self._copy_details)
        self._close = QToolButton()
        self._close.setFixedSize(TARGET, TARGET)
        self._close.setToolTip("Close this message (Esc)")
        self._close.setAccessibleName("Close this message")
        self._close.clicked.connect(self.close_message)
        for button in (self._action, self._copy, self._close):
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)  # a click leaves the focus where the work is
        line = QHBoxLayout(self)
        line.setContentsMargins(MARGIN, PAD, PAD, PAD)
        line.setSpacing(PAD)
        line.addWidget(self._sign, 0, Qt.AlignmentFlag.AlignTop)
        line.addWidget(self._text, 1)
        line.addWidget(self._action, 0, Qt.AlignmentFlag.AlignTop)
        line.addWidget(self._copy, 0, Qt.AlignmentFlag.AlignTop)
        line.addWidget(self._close, 0, Qt.AlignmentFlag.AlignTop)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.timeout.connect(self.close_message)
        self._host: QWidget | None = None
        self._floor: QWidget | None = None
        self.setAccessibleName("Message")
        self.hide()

    def float_over(self, host: QWidget) -> None:
        """Lie over the lower edge of `host`, so that nothing moves from under the pointer."""
        self._host = host
        self.setParent(host)
        host.installEventFilter(self)
        self.hide()

    def stay_above(self, floor: QWidget | None) -> None:
        """Leave a widget at the lower edge of the host uncovered; None: nothing there is needed."""
        self._floor = floor
        self._place()

    def _place(self) -> None:
        host = self._host
        if host is None or self.isHidden():
            return
        below = self._floor.height() if self._floor is not None else 0
        height = max(self.heightForWidth(host.width()), self.minimumSizeHint().height())
        self.setGeometry(0, max(host.height() - below - height, 0), host.width(), height)
        self.raise_()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if watched is self._host and event.type() == QEvent.Type.Resize:
            self._place()
        return super().eventFilter(watched, event)

    @property
    def text(self) -> str:
        return self._text.text() if not self.isHidden() else ""

    @property
    def is_problem(self) -> bool:
        """What is shown is something that went wrong."""
        return self._kind == "problem" and not self.isHidden()

    def show_problem(self, text: str) -> None:
        """Something went wrong; stays until it is closed. More of them wait behind it."""
        _log.warning("Shown: %s", text)
        if self.is_problem:
            if text != self._text.text() and text not in self._waiting:
                self._waiting = [*self._waiting, text][-MOST_WAITING:]
                self._show(self._text.text(), "problem")
            return
        self._show(text, "problem")

    def show_note(self, text: str, command: str = "", button: str = "") -> None:
        """Something went well; goes by itself. `button` offers a command. Waits behind what went wrong."""
        self._take_note(_Note(text, "done", command, button))

    def show_hint(self, text: str, command: str = "", button: str = "") -> None:
        """Nothing was done, or there is something to know first: as a note, but without its tick."""
        self._take_note(_Note(text, "hint", command, button))

    def _take_note(self, note: _Note) -> None:
        if self.is_problem:
            self._note = note
            self._show(self._text.text(), "problem")
            return
        self._show(note.text, note.kind, command=note.command, button=note.button)
        self._timer.start(NOTE_MS)

    def close_message(self) -> None:
        self._timer.stop()
        if self._waiting:
            self._show(self._waiting.pop(0), "problem")
            return
        self._kind, note, self._note = "done", self._note, None
        if note is not None:
            self._take_note(note)
        else:
            self.hide()

    def forget_note(self) -> None:
        """The note that waits is about a take that is gone."""
        self._note = None

    def _show(self, text: str, kind: Kind, *, command: str = "", button: str = "") -> None:
        self._timer.stop()
        self._kind, self._command = kind, command
        self._text.setText(text)
        more = len(self._waiting) + (self._note is not None) if kind == "problem" else 0
        self._action.setText(button or (f"Next ({more})" if more else ""))
        self._copy.setVisible(kind == "problem")
        self._action.setVisible(bool(self._action.text()))
        self.setAccessibleDescription(text)
        self._dress()
        self.show()
        self._place()
        QAccessible.updateAccessibility(QAccessibleEvent(self, QAccessible.Event.Alert))

    def _ask(self) -> None:
        command = self._command
        self.close_message()
        if command:
            self.action_requested.emit(command)

    def _copy_details(self) -> None:
        QApplication.clipboard().setText(details(self._text.text(), "desk"))

    def _dress(self) -> None:
        # Its own palette keeps the colours of its last sheet; the application's follows the theme.
        theme = theme_of(QApplication.palette())
        colour = {"problem": theme.danger, "done": theme.ok, "hint": theme.text_muted}[self._kind]
        sheet = (
            f"MessageBar {{ background: {theme.raised}; border: none; border-left: 5px solid {colour}; "
            f"border-top: 1px solid {theme.edge}; border-bottom: 1px solid {theme.line}; }}"
        )
        if sheet == self.styleSheet():
            return  # a new sheet changes the palette, which asks for dressing again: without end
        self._sign.setPixmap(icon(SIGNS[self._kind], theme, colour).pixmap(16, 16))
        self._close.setIcon(icon("close", theme))
        self.setStyleSheet(sheet)

    def changeEvent(self, event: QEvent) -> None:
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange and not self.isHidden():
            QTimer.singleShot(0, self, self._dress)
