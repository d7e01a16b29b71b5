"""Notes on the take: why you decided this way."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QVBoxLayout, QWidget

from lagline.desk.panels.text_box import TextBox
from lagline.desk.panels.themed import Themed, plain_label
from lagline.desk.theme import GAP, PAD
from lagline.session.values import Session


class NotesPanel(Themed):
    """Free text kept with the session and in its report.

    Signals
    -------
    notes_requested(str text) : keep this as the session's notes; told when typing rests or the focus leaves.
    """

    notes_requested = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Notes")
        label = plain_label("Notes on this take")
        label.setProperty("heading", True)
        self._text = TextBox(
            "Notes on this take",
            "Why you decided this way: what you heard, what to try next time. Kept with the session and "
            "printed in its report.",
            lines=8,
        )
        self._text.setToolTip("Kept with the session and printed in its report. Tab leaves the box.")
        self._text.text_settled.connect(self.notes_requested)
        label.setBuddy(self._text)
        column = QVBoxLayout(self)
        column.setContentsMargins(PAD, PAD, PAD, PAD)
        column.setSpacing(GAP)
        column.addWidget(label)
        column.addWidget(self._text, 1)
        self.show_session(None)
        self.follow_theme()

    def show_session(self, session: Session | None) -> None:
        """Show the session's notes, unless the person is writing in them."""
        self._text.setEnabled(session is not None)
        self._text.show_text(session.notes if session is not None else "")

    def settle(self) -> None:
        """Tell what was typed and not told yet, for example before saving."""
        self._text.settle()
