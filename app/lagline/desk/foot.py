"""The line at the bottom: what is under way with its progress, or what the hand can do here."""

from __future__ import annotations

from PySide6.QtCore import QTimer, Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QProgressBar, QPushButton, QSizePolicy, QWidget

from lagline.desk.message_bar import STRIP
from lagline.desk.theme import MARGIN, PAD

WITHOUT_BAR_MS = 400  # what is done sooner needs no progress bar


class Foot(QFrame):
    """The line at the foot: a hint, and what is under way with its Stop."""

    stop_requested = Signal(str)  # title of the task that is shown

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._hint = QLabel()
        self._hint.setProperty("muted", True)
        self._hint.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Expanding)
        self._task = QLabel()
        self._bar = QProgressBar()
        self._bar.setRange(0, 1000)
        self._bar.setFixedWidth(180)
        self._bar.setFixedHeight(18)
        self._cancel = QPushButton("Stop")
        self._cancel.setToolTip("Stop what is under way (Esc)")
        self._cancel.clicked.connect(self._ask_stop)
        self._tasks: dict[str, tuple[float | None, bool]] = {}  # progress, can be stopped; latest last
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.timeout.connect(self._reveal)
        line = QHBoxLayout(self)
        line.setContentsMargins(MARGIN, 0, MARGIN, 0)
        line.setSpacing(PAD)
        line.addWidget(self._hint, 1)
        line.addWidget(self._task)
        line.addWidget(self._bar)
        line.addWidget(self._cancel)
        self.setFixedHeight(STRIP)
        self._show_parts(False)

    @property
    def strip(self) -> QWidget:
        """Where messages lie: in place of the hint."""
        return self._hint

    @property
    def task(self) -> str:
        """What is said to be under way: of several the latest that can be stopped, for Stop must be at hand;
        empty when nothing is."""
        stoppable = (title for title, (_, can_stop) in reversed(self._tasks.items()) if can_stop)
        return next(stoppable, next(reversed(self._tasks), ""))

    @property
    def can_stop(self) -> bool:
        """Whether `task` can be stopped."""
        return bool(self._tasks) and self._tasks[self.task][1]

    def show_hint(self, text: str) -> None:
        """What the hand can do where it is."""
        self._hint.setText(text)

    def show_task(self, title: str, fraction: float | None, *, can_stop: bool = True) -> None:
        """Progress 0..1 of what is under way; None while it is not known."""
        is_new = title not in self._tasks
        self._tasks[title] = (fraction, can_stop)
        if self._task.isHidden():
            if is_new:
                self._timer.start(WITHOUT_BAR_MS)
        else:
            self._fill()

    def hide_task(self, title: str) -> None:
        """It is over; another that goes on is shown again."""
        if self._tasks.pop(title, None) is None:
            return
        if not self._tasks:
            self._timer.stop()
            self._show_parts(False)
        elif not self._task.isHidden():
            self._fill()

    def _reveal(self) -> None:
        if self._tasks:
            self._fill()
            self._show_parts(True)

    def _fill(self) -> None:
        title = self.task
        fraction = self._tasks[title][0]
        self._task.setText(title)
        self._bar.setAccessibleName(title)
        # Whole per cents: with every new value the bar repaints what is due in the whole window, at once.
        self._bar.setRange(0, 0 if fraction is None else 100)
        if fraction is not None:
            self._bar.setValue(round(100 * fraction))
        self._cancel.setVisible(self.can_stop)

    def _show_parts(self, on: bool) -> None:
        self._task.setVisible(on)
        self._bar.setVisible(on)
        self._cancel.setVisible(on and self.can_stop)

    def _ask_stop(self) -> None:
        if self.can_stop:
            self.stop_requested.emit(self.task)
