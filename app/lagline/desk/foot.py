"""The line at the bottom: what is under way with its progress, or what the hand can do here."""

from __future__ import annotations

from PySide6.QtCore import QTimer, Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QProgressBar, QPushButton, QSizePolicy, QWidget

from lagline.desk.theme import GAP, MARGIN, PAD

PATIENCE_MS = 400  # what is done sooner needs no progress bar


class Foot(QFrame):
    cancel_requested = Signal()
    task_shown = Signal(bool)  # its progress is there, or has gone

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._hint = QLabel()
        self._hint.setProperty("muted", True)
        self._hint.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self._facts = QLabel()
        self._facts.setProperty("muted", True)
        self._task = QLabel()
        self._bar = QProgressBar()
        self._bar.setRange(0, 1000)
        self._bar.setFixedWidth(180)
        self._bar.setFixedHeight(18)
        self._cancel = QPushButton("Stop")
        self._cancel.setToolTip("Stop what is under way (Esc)")
        self._cancel.clicked.connect(self.cancel_requested)
        self._pending: tuple[str, bool] | None = None
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.timeout.connect(self._reveal)
        line = QHBoxLayout(self)
        line.setContentsMargins(MARGIN, GAP, MARGIN, GAP)
        line.setSpacing(PAD)
        line.addWidget(self._hint, 1)
        line.addWidget(self._task)
        line.addWidget(self._bar)
        line.addWidget(self._cancel)
        line.addWidget(self._facts)
        self.setFixedHeight(32)
        self.hide_task()

    @property
    def task(self) -> str:
        """What is said to be under way; empty when nothing is."""
        return self._pending[0] if self._pending else ""

    def show_hint(self, text: str) -> None:
        self._hint.setText(text)

    def show_facts(self, text: str) -> None:
        self._facts.setText(text)

    def show_task(self, title: str, fraction: float | None, *, can_stop: bool = True) -> None:
        """Progress 0..1 of what is under way; None while it is not known."""
        is_new = self._pending is None or self._pending[0] != title
        self._pending = (title, can_stop)
        if fraction is None:
            self._bar.setRange(0, 0)
        else:
            self._bar.setRange(0, 1000)
            self._bar.setValue(round(1000 * fraction))
        if is_new:
            self._bar.setAccessibleName(title)
            if self._task.isVisible():
                self._reveal()
            else:
                self._timer.start(PATIENCE_MS)

    def hide_task(self) -> None:
        self._pending = None
        self._timer.stop()
        was_shown = not self._task.isHidden()
        for part in (self._task, self._bar, self._cancel):
            part.hide()
        if was_shown:
            self.task_shown.emit(False)

    def _reveal(self) -> None:
        if self._pending is not None:
            title, can_stop = self._pending
            self._task.setText(title)
            self._task.show()
            self._bar.show()
            self._cancel.setVisible(can_stop)
            self.task_shown.emit(True)
