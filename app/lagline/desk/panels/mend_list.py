"""What would mend a combination with the least change: each to hear and to keep."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from lagline.combinations.mend import Mend, change_words, mend_words
from lagline.desk.panels.flow import emptied
from lagline.desk.panels.themed import plain_label, shown
from lagline.desk.plain import plain_tip
from lagline.session.values import Session


class MendList(QWidget):
    """Receives: `show_mends(session, mends)`, `show_text(sentence)`.

    Signals
    -------
    hear_asked(Mend)
    keep_asked(Mend)
    """

    hear_asked = Signal(object)
    keep_asked = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self._mends: tuple[Mend, ...] = ()
        self._heard = -1
        self._text = plain_label()
        self._text.setAccessibleName("Least change")
        self._lines = QVBoxLayout()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._text)
        column.addLayout(self._lines)
        self.show_text("")

    @property
    def mends(self) -> tuple[Mend, ...]:
        """What is shown, the least change first."""
        return self._mends

    def show_text(self, text: str) -> None:
        """A sentence instead of changes; empty for nothing."""
        self._mends, self._heard = (), -1
        emptied(self._lines)
        shown(self._text, text)
        self.setVisible(bool(text))

    def show_mends(self, session: Session, mends: Sequence[Mend]) -> None:
        """The changes, the least first."""
        self.show_text(f"Least change to {mends[0].before.cell.name}:")
        self._mends = tuple(mends)
        for mend in mends:
            name, what = change_words(session, mend), mend_words(session, mend).split(": ", 1)[1]
            hear, keep = QPushButton(name), QPushButton("Keep")
            hear.setToolTip(plain_tip(f"Hear it with {name} (M for the next one)"))
            keep.setToolTip(plain_tip(f"Add it to the versions with {name} (K for the one heard)"))
            keep.setAccessibleName(f"Keep {name}")
            hear.clicked.connect(partial(self._hear, mend))
            keep.clicked.connect(partial(self._keep, mend))
            line = QWidget()
            row = QHBoxLayout(line)
            row.setContentsMargins(0, 0, 0, 0)
            row.addWidget(hear)
            row.addWidget(plain_label(what), 1)
            row.addWidget(keep)
            self._lines.addWidget(line)

    def hear_next(self) -> None:
        """The first one, or the one after the one heard."""
        if self._mends:
            self._hear(self._mends[(self._heard + 1) % len(self._mends)])

    def keep_heard(self) -> None:
        """The one heard last."""
        if self._heard >= 0:
            self.keep_asked.emit(self._mends[self._heard])

    def _hear(self, mend: Mend, *_: object) -> None:
        self._heard = self._mends.index(mend)
        self.hear_asked.emit(mend)

    def _keep(self, mend: Mend, *_: object) -> None:
        self.keep_asked.emit(mend)
