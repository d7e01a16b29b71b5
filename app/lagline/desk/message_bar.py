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
Kind = Literal["problem", "refusal", "answer", "notice", "note"]
WRONG: tuple[Kind, ...] = ("problem", "refusal")
SIGNS: dict[Kind, str] = {
    "problem": "warning", "refusal": "warning", "answer": "info", "notice": "info", "note": "done",
}  # fmt: skip


class _Message(Struct, frozen=True):
    text: str
    kind: Kind
    command: str = ""
    button: str = ""

    @property
    def is_wrong(self) -> bool:
        return self.kind in WRONG


class MessageBar(QFrame):
    """Shows the newest problem, older ones behind it; the latest note once no problem is left."""

    action_requested = Signal(str)  # the command that the message's button stands for

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._shown: _Message | None = None
        self._problems: list[_Message] = []  # behind what is shown, newest first
        self._note: _Message | None = None  # behind the problems
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
        """The message that is shown; empty without one."""
        return self._shown.text if self._shown is not None else ""

    @property
    def is_problem(self) -> bool:
        """What is shown is something that went wrong."""
        return self._shown is not None and self._shown.is_wrong

    def show_problem(self, text: str, command: str = "", button: str = "") -> None:
        """Something went wrong; stays until it is closed. Older ones wait behind it. `button` offers a
        command that helps."""
        self._show_wrong(_Message(text, "problem", command, button))

    def show_refusal(self, text: str) -> None:
        """What was typed or asked for cannot be; stays until it is closed, or `forget_refusals`."""
        self._show_wrong(_Message(text, "refusal"))

    def forget_refusals(self) -> None:
        """What was asked for after them came about."""
        left = [one for one in self._problems if one.kind != "refusal"]
        has_changed, self._problems = len(left) != len(self._problems), left
        if self._shown is not None and self._shown.kind == "refusal":
            self.close_message()
        elif has_changed:
            self._count()

    def show_answer(self, text: str, command: str = "", button: str = "") -> None:
        """Why a command did nothing: comes before everything else, and goes by itself."""
        self._set_aside()
        self._show(_Message(text, "answer", command, button))

    def show_notice(self, text: str, command: str = "", button: str = "") -> None:
        """Worth knowing, neither good nor wrong; waits and goes as a note does."""
        self._show_calmly(_Message(text, "notice", command, button))

    def show_note(self, text: str, command: str = "", button: str = "") -> None:
        """Something went well; goes by itself. `button` offers a command. Waits behind what went wrong."""
        self._show_calmly(_Message(text, "note", command, button))

    def close_message(self) -> None:
        """Take the message away and show the next problem, if one waits."""
        self._timer.stop()
        self._shown = None
        if self._problems:
            self._show(self._problems.pop(0))
        elif self._note is not None:
            note, self._note = self._note, None
            self._show(note)
        else:
            self.hide()

    def forget_note(self) -> None:
        """The note that waits is about a take that is gone."""
        self._note = None

    def _show_wrong(self, new: _Message) -> None:
        _log.warning("Shown: %s", new.text)
        self._set_aside()
        self._problems = [one for one in self._problems if one.text != new.text]
        self._show(new)

    def _set_aside(self) -> None:
        """What went wrong is not lost when something newer takes its place."""
        if self._shown is not None and self._shown.is_wrong:
            self._problems = [self._shown, *self._problems][:MOST_WAITING]

    def _show_calmly(self, new: _Message) -> None:
        if self.is_problem or self._problems:
            self._note = new
            self._count()
        else:
            self._show(new)

    def _show(self, message: _Message) -> None:
        self._shown = message
        self._timer.stop()
        if not message.is_wrong:
            self._timer.start(NOTE_MS)
        self._text.setText(message.text)
        self._copy.setVisible(message.is_wrong)
        self._count()
        self.setAccessibleDescription(message.text)
        self._dress()
        self.show()
        self._place()
        QAccessible.updateAccessibility(QAccessibleEvent(self, QAccessible.Event.Alert))

    def _count(self) -> None:
        """The button: what the message offers, or how many wait behind it."""
        more = len(self._problems) + (self._note is not None)
        offered = self._shown.button if self._shown is not None else ""
        self._action.setText(offered or (f"Next ({more})" if more else ""))
        self._action.setVisible(bool(self._action.text()))

    def _ask(self) -> None:
        command = self._shown.command if self._shown is not None else ""
        self.close_message()
        if command:
            self.action_requested.emit(command)

    def _copy_details(self) -> None:
        QApplication.clipboard().setText(details(self._text.text(), "desk"))

    def _dress(self) -> None:
        # Its own palette keeps the colours of its last sheet; the application's follows the theme.
        theme = theme_of(QApplication.palette())
        kind = self._shown.kind if self._shown is not None else "note"
        colour = {"warning": theme.danger, "info": theme.text_muted, "done": theme.ok}[SIGNS[kind]]
        sheet = (
            f"MessageBar {{ background: {theme.raised}; border: none; border-left: 5px solid {colour}; "
            f"border-top: 1px solid {theme.edge}; border-bottom: 1px solid {theme.line}; }}"
        )
        if sheet == self.styleSheet():
            return  # a new sheet changes the palette, which asks for dressing again: without end
        self._sign.setPixmap(icon(SIGNS[kind], theme, colour).pixmap(16, 16))
        self._close.setIcon(icon("close", theme))
        self.setStyleSheet(sheet)

    def changeEvent(self, event: QEvent) -> None:
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange and not self.isHidden():
            QTimer.singleShot(0, self, self._dress)
