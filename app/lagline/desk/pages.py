"""What fills the window: the start page, a take that is on its way, or the take."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import QProgressBar, QStackedWidget, QVBoxLayout, QWidget

from lagline.desk.panels.themed import plain_label
from lagline.desk.theme import PAD
from lagline.session.values import Session

PATIENCE_MS = 400  # what is opened sooner needs no page of its own
BAR_PX = 240


class ArrivingPage(QWidget):
    """A take that is being read or laid out, with a line of progress."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._text = plain_label()
        self._text.setAlignment(Qt.AlignmentFlag.AlignHCenter)
        self._bar = QProgressBar()
        self._bar.setRange(0, 0)  # how long it takes is not known
        self._bar.setFixedWidth(BAR_PX)
        column = QVBoxLayout(self)
        column.setSpacing(PAD)
        column.addStretch(1)
        column.addWidget(self._text)
        column.addWidget(self._bar, 0, Qt.AlignmentFlag.AlignHCenter)
        column.addStretch(1)

    def say(self, text: str) -> None:
        """What is being opened, in words, on the page and for screen readers."""
        self._text.setText(text)
        self._bar.setAccessibleName(text)
        self.setAccessibleName(text)

    def text(self) -> str:
        """The words that are shown."""
        return self._text.text()


class DeskPages(QStackedWidget):
    """`empty` and `take` are the pages of the window with nothing and with a take on it.

    While recordings are opened onto an empty desk for long, and while a take's lanes are made, the page in
    between is shown: neither the start page nor another take's lanes may stand under a take's name.
    """

    def __init__(self, empty: QWidget, take: QWidget, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._empty, self._take = empty, take
        self.arriving = ArrivingPage()
        for page in (empty, self.arriving, take):
            self.addWidget(page)
        self._files: frozenset[Path] = frozenset()
        self._opening = ""
        self._patience = QTimer(self)
        self._patience.setSingleShot(True)
        self._patience.setInterval(PATIENCE_MS)
        self._patience.timeout.connect(self._show_opening)

    def show_busy(self, title: str) -> None:
        """Files are being opened, or (empty) no longer."""
        self._opening = title
        if title:
            self._patience.start()
        else:
            self._patience.stop()
            self._settle()

    def begin(self, session: Session | None) -> None:
        """Before the session's lanes are made, which may hold up the window: another take is told now."""
        files = frozenset(lane.source.path for lane in session.lanes) if session is not None else frozenset()
        is_other = session is not None and bool(files) and files.isdisjoint(self._files)
        self._files = files
        if session is not None and is_other:
            self._patience.stop()
            self._opening = ""
            self.arriving.say(f"Laying out {session.name} …")
            self.setCurrentWidget(self.arriving)
            if self.isVisible():
                self.arriving.repaint()

    def end(self, session: Session | None) -> None:
        """The session's lanes are made."""
        self.setCurrentWidget(self._empty if session is None else self._take)

    def _show_opening(self) -> None:
        if self._opening and self.currentWidget() is self._empty:
            self.arriving.say(f"{self._opening} …")
            self.setCurrentWidget(self.arriving)

    def _settle(self) -> None:
        """Nothing came of it: back to the start page."""
        if self.currentWidget() is self.arriving:
            self.setCurrentWidget(self._empty)
