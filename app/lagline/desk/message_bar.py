"""A strip for what went wrong or is worth knowing; it covers nothing and never takes the focus."""

from __future__ import annotations

import logging
from bisect import bisect_right
from typing import Literal

from msgspec import Struct
from PySide6.QtCore import QEvent, QObject, QPoint, QRect, Qt, QTimer, Signal
from PySide6.QtGui import QAccessible, QAccessibleEvent
from PySide6.QtWidgets import QApplication, QFrame, QHBoxLayout, QLabel, QPushButton, QToolButton, QWidget

from lagline.desk.icons import icon
from lagline.desk.theme import MARGIN, PAD, TARGET, theme_of
from lagline.log import details

_log = logging.getLogger(__name__)

NOTE_MS = 8000  # a note goes by itself, a problem stays until it is closed
MOST_WAITING = 20
STRIP = 44  # height of the strip that is kept for messages: two lines of text
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
        self._more = QPushButton("More")
        self._more.setToolTip("Show the whole message")
        self._more.clicked.connect(self._unfold)
        self._more.hide()
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
        for button in (self._more, self._action, self._copy, self._close):
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)  # a click leaves the focus where the work is
        line = QHBoxLayout(self)
        line.setContentsMargins(MARGIN, 0, PAD, 0)
        line.setSpacing(PAD)
        line.addWidget(self._sign)
        line.addWidget(self._text, 1)
        for button in (self._more, self._action, self._copy, self._close):
            line.addWidget(button)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.timeout.connect(self.close_message)
        self._strip: QWidget | None = None
        self._is_unfolded = False
        self.setAccessibleName("Message")
        self.hide()

    def lie_in(self, strip: QWidget, host: QWidget) -> None:
        """Lie in `strip`, a part of `host` that is kept for messages: nothing is covered, nothing moves.
        A message too long for it shows its beginning, and grows upward only when it is asked to."""
        self._strip = strip
        self.setParent(host)
        strip.installEventFilter(self)
        self.hide()

    def _place(self) -> None:
        strip, host = self._strip, self.parentWidget()
        if strip is None or host is None or self.isHidden():
            return
        place = QRect(strip.mapTo(host, QPoint()), strip.size())
        self.resize(place.size())
        self._text.setText(self.text)
        self._text.setToolTip("")
        self._more.hide()
        if self._height(self.text) > place.height():
            if self._is_unfolded:
                place.setTop(place.bottom() + 1 - self._height(self.text) - 2 * PAD)
            else:
                self._more.show()
                self._text.setText(self._beginning(place.height()))
                self._text.setToolTip(self.text)
        self.setGeometry(place)
        self.raise_()

    def _height(self, text: str) -> int:
        """Of a text in the width that the buttons leave it."""
        layout = self.layout()
        assert layout is not None
        layout.activate()
        room = QRect(0, 0, max(self._text.width(), 1), 1 << 20)
        return self._text.fontMetrics().boundingRect(room, Qt.TextFlag.TextWordWrap, text).height()

    def _beginning(self, height: int) -> str:
        """As many of the message's words as this height holds."""
        words = self.text.split(" ")
        starts = [" ".join(words[:count]) + " …" for count in range(1, len(words))]
        return starts[max(bisect_right(starts, height, key=self._height), 1) - 1]

    def _unfold(self) -> None:
        self._timer.stop()  # it is being read
        self._is_unfolded = True
        self._place()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if watched is self._strip and event.type() in (QEvent.Type.Resize, QEvent.Type.Move):
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

    def show_standing(self, text: str) -> None:
        """What to do next, before everything else; stays until it is withdrawn or closed."""
        self._set_aside()
        self._show(_Message(text, "answer"))
        self._timer.stop()

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

    def withdraw(self, text: str) -> None:
        """What a note said is no longer so."""
        if self._note is not None and self._note.text == text:
            self._note = None
            self._count()
        if self._shown is not None and self._shown.text == text:
            self.close_message()

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
        self._is_unfolded = False
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
        QApplication.clipboard().setText(details(self.text, "desk"))

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
