"""The plan beside the findings of the take on the desk."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QPushButton, QStackedLayout, QVBoxLayout, QWidget

from lagline.desk.panels.empty_state import EmptyState
from lagline.desk.panels.themed import plain_label, shown
from lagline.desk.planner.figures import TAPE_HEADINGS, tape_rows
from lagline.desk.planner.tables import ReadingTable
from lagline.desk.theme import PAD
from lagline.jobs.tape_measure import tape_against_sound
from lagline.session.plan import Plan
from lagline.session.values import Session

NO_TAKE = (
    "No take on the desk",
    "Open a take on the desk and measure it to see the arrivals you taped beside those that were found.",
)
NOT_MEASURED = (
    "The take is not measured yet",
    "Measure it on the desk to see the arrivals you taped beside those that were found.",
)
NO_NAMES = (
    "The plan does not know these lanes",
    "Lanes are matched by name. Take the names over, then tape each distance and type it in.",
)


class TapePanel(QWidget):
    """Signals
    -------
    lanes_requested() : give the plan the lanes of the take.
    """

    lanes_requested = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._plan = Plan()
        self._session: Session | None = None
        self._empty = EmptyState(*NO_TAKE)
        self._take_over = QPushButton("Take the lanes of the take")
        self._take_over.clicked.connect(self.lanes_requested)
        nothing = QWidget()
        column = QVBoxLayout(nothing)
        column.addWidget(self._empty, 1)
        column.addWidget(self._take_over)
        self.table = ReadingTable("Tape measure against sound", TAPE_HEADINGS, left=(0, 5))
        self._sentences = plain_label(selectable=True)
        full = QWidget()
        column = QVBoxLayout(full)
        column.setContentsMargins(0, 0, 0, PAD)
        column.addWidget(self.table, 1)
        column.addWidget(self._sentences)
        self._pages = QStackedLayout(self)
        self._pages.addWidget(nothing)
        self._pages.addWidget(full)
        self._refresh()

    def show_plan(self, plan: Plan) -> None:
        """Compare this plan with what was found."""
        self._plan = plan
        self._refresh()

    def show_session(self, session: Session | None) -> None:
        """Compare the plan with this session's findings."""
        self._session = session
        self._refresh()

    def said(self) -> str:
        """The sentences that are shown."""
        return self._sentences.text() if self._pages.currentIndex() == 1 else self._empty.text()

    def _refresh(self) -> None:
        session = self._session
        alignment = None if session is None else session.alignment
        rows = (
            () if session is None or alignment is None else tape_against_sound(self._plan, session, alignment)
        )
        self._pages.setCurrentIndex(1 if rows else 0)
        self._take_over.setVisible(session is not None and not rows)
        if rows:
            self.table.show_rows(tape_rows(rows))
            shown(
                self._sentences,
                "\n".join(row.sentence for row in rows if row.cause != "agrees" or row.is_flipped),
            )
        else:
            self._empty.say(
                *(NO_TAKE if session is None else NOT_MEASURED if alignment is None else NO_NAMES)
            )
