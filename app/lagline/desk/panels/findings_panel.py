"""The findings: what analysis says of each lane, and what the engineer does about it."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Signal
from PySide6.QtWidgets import (
    QHBoxLayout,
    QMenu,
    QProgressBar,
    QPushButton,
    QSizePolicy,
    QStackedWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.amounts import Unit
from lagline.desk.panels.accepting import SOUND, STRONG, guesses_text, to_accept, trust_counts
from lagline.desk.panels.chooser import Chooser
from lagline.desk.panels.empty_state import EmptyState
from lagline.desk.panels.finding_detail import FindingDetail
from lagline.desk.panels.finding_texts import FindingLine, finding_lines
from lagline.desk.panels.findings_table import COLUMNS, FindingsModel, FindingsTable, lane_mark
from lagline.desk.panels.themed import Themed, plain_label, shown
from lagline.desk.theme import GAP, PAD, Theme
from lagline.session.colours import lane_colours
from lagline.session.findings import Alignment, TrustWord
from lagline.session.values import Session

SHOWN = ("All lanes", "To decide", "Strong", "Usable", "Weak", "None")


class FindingsPanel(Themed):
    """A table with a line a lane, the chosen line's detail below it; measuring with progress and cancel.

    Receives: `show_session(session or None)`, `show_progress(fraction)`, `show_measured()`,
    `show_message(text)`, `select_lane(lane_id)`, `show_unit(unit)`.

    Signals
    -------
    measure_requested() : measure the take (again).
    cancel_requested() : stop the measurement that is running.
    decide_requested(list[str]) : take the findings of these lanes over; what is only tried stays as it is.
    try_requested(str lane_id, int index) : try the lane at `finding.runners_up[index]`; THE_FINDING is the
        finding itself.
    put_back_requested(str lane_id) : the lane goes back to where it was before it was tried, else to where
        it was recorded.
    lane_selected(str lane_id) : show this lane's evidence.
    read_requested(str lane_id) : open the guide where it explains this lane's finding.
    """

    measure_requested = Signal()
    cancel_requested = Signal()
    decide_requested = Signal(list)
    try_requested = Signal(str, int)
    put_back_requested = Signal(str)
    lane_selected = Signal(str)
    read_requested = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Findings")
        self._session: Session | None = None
        self._alignment: Alignment | None = None
        self._lines: dict[str, FindingLine] = {}  # of every lane, as the session now is
        self._order: list[str] = []  # of the lines that are shown
        self._sorted_by, self._is_turned = -1, False
        self._selected: str | None = None
        self._unit: Unit = "samples"
        self._is_measuring = False

        self._summary = plain_label()
        self._measure = QPushButton("Measure")
        self._measure.setToolTip("Measure how late each lane is, and its polarity (Ctrl+M)")
        self._measure.clicked.connect(self.measure_requested)
        self._progress = QProgressBar()
        self._progress.setRange(0, 1000)
        self._progress.setAccessibleName("Measuring")
        self._cancel = QPushButton("Cancel")
        self._cancel.setToolTip("Stop measuring; nothing is changed (Esc)")
        self._cancel.clicked.connect(self.cancel_requested)
        self._message = plain_label(selectable=True)
        self._warnings = plain_label(selectable=True)
        self._warnings.setAccessibleName("Warnings of the measurement")
        self._make_table()
        self._build()
        self.show_measured()
        self.show_message("")
        self.show_session(None)
        self.follow_theme()

    def _make_table(self) -> None:
        self.model = FindingsModel(self)
        self.model.ticked_changed.connect(self._show_ticked)
        self.table = FindingsTable(self.model)
        self.table.accept_asked.connect(self._ask_accept)
        self.table.lane_chosen.connect(self._choose)
        self.table.sort_asked.connect(self._sort)
        self.detail = FindingDetail()
        self.detail.accept_asked.connect(self._ask_accept_chosen)
        self.detail.try_asked.connect(self._ask_try)
        self.detail.put_back_asked.connect(self._ask_put_back)
        self.detail.read_asked.connect(self._ask_to_read)
        self.table.try_asked.connect(self.detail.try_next)
        self.table.put_back_asked.connect(self.detail.put_back)
        self._filter = Chooser("Lanes to show", "Which lanes the table shows", least_letters=8)
        self._filter.offer([(name, name) for name in SHOWN], SHOWN[0])
        self._filter.currentIndexChanged.connect(self._arrange)
        self._tick = QToolButton()
        self._tick.setText("Tick ▾")
        self._tick.setProperty("signed", True)  # for the style sheet
        self._tick.setToolTip("Tick several lanes at once")
        self._tick.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        menu = QMenu(self._tick)
        menu.addAction("The strong ones", partial(self._tick_sound, STRONG))
        menu.addAction("The strong and usable ones", partial(self._tick_sound, SOUND))
        menu.addAction("All that are shown", self._tick_shown)
        menu.addAction("None", partial(self.model.tick, set()))
        self._tick.setMenu(menu)
        self._accept_ticked = QPushButton()
        self._accept_ticked.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self._accept_ticked.clicked.connect(self._ask_accept_ticked)
        self._guesses = plain_label()
        self._guesses.setAccessibleName("Probable flips")

    def _build(self) -> None:
        self._empty = EmptyState("No findings yet", "")
        head = QHBoxLayout()
        head.addWidget(self._summary, 1)
        head.addWidget(self._measure)
        self._running = QWidget()
        running = QHBoxLayout(self._running)
        running.setContentsMargins(0, 0, 0, 0)
        running.addWidget(self._progress, 1)
        running.addWidget(self._cancel)
        several = QHBoxLayout()
        several.setSpacing(GAP)
        several.addWidget(self._filter)
        several.addWidget(self._tick)
        several.addWidget(self._accept_ticked, 1)
        found = QWidget()
        below = QVBoxLayout(found)
        below.setContentsMargins(0, 0, 0, 0)
        below.setSpacing(GAP)
        below.addLayout(several)
        below.addWidget(self._guesses)
        below.addWidget(self.table, 1)
        below.addWidget(self.detail)
        self._pages = QStackedWidget()
        self._pages.addWidget(self._empty)
        self._pages.addWidget(found)
        column = QVBoxLayout(self)
        column.setContentsMargins(PAD, GAP, PAD, GAP)
        column.setSpacing(GAP)
        column.addLayout(head)
        for part in (self._running, self._message, self._warnings):
            column.addWidget(part)
        column.addWidget(self._pages, 1)

    # ---- what is shown

    def show_session(self, session: Session | None) -> None:
        """Show the session's findings as they stand in its current version."""
        old, self._session = self._session, session
        lanes = session.lanes if session is not None else ()
        alignment = session.alignment if session is not None else None
        ids = [lane.id for lane in lanes]
        if self._selected not in ids:
            self._selected = None
        if alignment is not self._alignment or old is None or [lane.id for lane in old.lanes] != ids:
            self._alignment = alignment
            self._arrange()
            self._tick_sound(STRONG)
        self._fill()
        # What is lined up has nothing left to tick for.
        self.model.tick({lane_id for lane_id in self.model.ticked if self._lines[lane_id].can_accept})
        self._pages.setCurrentIndex(0 if alignment is None else 1)
        self._say_empty(session)
        warnings = "\n".join(f"⚠ {warning}" for warning in alignment.warnings) if alignment else ""
        shown(self._warnings, warnings)
        self._warnings.setVisible(bool(warnings))
        self._measure.setEnabled(len(lanes) >= 2)
        self._measure.setText("Measure again" if alignment is not None else "Measure")
        shown(self._summary, self._summary_text())

    def _read_lines(self) -> None:
        session = self._session
        measured = session is not None and session.alignment is not None
        lines = finding_lines(session, self._unit) if session is not None and measured else ()
        self._lines = {line.lane_id: line for line in lines}

    def _arrange(self) -> None:
        """Choose and order the lines anew: when that is asked for, never by what is done to a lane."""
        self._read_lines()
        lines = list(self._lines.values())
        wanted = self._filter.currentText()
        if wanted == "To decide":
            lines = [line for line in lines if line.can_accept]
        elif wanted != SHOWN[0]:
            lines = [line for line in lines if line.trust_word == wanted.casefold()]
        if self._sorted_by >= 0:
            lines.sort(key=COLUMNS[self._sorted_by].rank, reverse=self._is_turned)
        self._order = [line.lane_id for line in lines]
        self._fill()

    def _sort(self, column: int) -> None:
        """By a column, then the other way round, then as the lanes stand."""
        if column != self._sorted_by:
            self._sorted_by, self._is_turned = column, False
        elif not self._is_turned:
            self._is_turned = True
        else:
            self._sorted_by, self._is_turned = -1, False
        self.table.show_sorted(self._sorted_by, self._is_turned)
        self._arrange()

    def _fill(self) -> None:
        self._read_lines()
        lines, theme = self._lines, self.theme
        colours = lane_colours(self._session.lanes if self._session is not None else ())
        self.model.show_looks({lane_id: lane_mark(n, theme) for lane_id, n in colours.items()}, theme)
        self.model.show_lines([lines[lane_id] for lane_id in self._order if lane_id in lines], self._unit)
        self.table.choose(self._selected)
        self.detail.show_line(self._session, lines.get(self._selected or ""))
        self._show_ticked()

    def _show_ticked(self) -> None:
        """What accepting the ticked lanes would do, flips that are only probable by name."""
        ticked = self._to_accept()
        self._accept_ticked.setText(f"Accept {len(ticked)} ticked" if ticked else "Accept the ticked")
        self._accept_ticked.setEnabled(bool(ticked))
        session, found = self._session, self._alignment.findings if self._alignment is not None else ()
        guesses = guesses_text(session, ticked) if session is not None else ""
        usual = "Flips that are only probable: not ticked."
        shown(self._guesses, f"⚠ Accepting {guesses}." if guesses else usual)
        # There from one measurement to the next, so that nothing moves when such a flip is accepted.
        self._guesses.setVisible(any(one.polarity_sureness == "probable" for one in found))
        tip = "Line the ticked lanes up on their findings"
        self._accept_ticked.setToolTip(f"{tip}; {guesses}" if guesses else tip)

    def _to_accept(self) -> list[str]:
        return [
            lane_id
            for lane_id, line in self._lines.items()
            if line.can_accept and lane_id in self.model.ticked
        ]

    def show_unit(self, unit: Unit) -> None:
        """Arrivals in this unit; ways in feet and inches for "ft" and "in", else in metres."""
        if unit != self._unit:
            self._unit = unit
            self._fill()

    def show_progress(self, fraction: float) -> None:
        """A measurement is running: 0..1 done."""
        started, self._is_measuring = not self._is_measuring, True
        self._progress.setValue(round(1000 * min(max(fraction, 0.0), 1.0)))
        if started:
            self._show_measuring()
            self.show_message("")

    def show_measured(self) -> None:
        """No measurement is running any more."""
        self._is_measuring = False
        self._show_measuring()

    def _show_measuring(self) -> None:
        self._running.setVisible(self._is_measuring)
        self._measure.setVisible(not self._is_measuring)
        shown(self._summary, self._summary_text())
        self._say_empty(self._session)

    def show_message(self, text: str) -> None:
        """A sentence above the table, for example why a measurement failed; empty takes it away."""
        shown(self._message, text)
        self._message.setVisible(bool(text))

    def select_lane(self, lane_id: str | None) -> None:
        """Mark a lane's line and show its detail, without asking back."""
        self._selected = lane_id
        self.table.choose(lane_id)
        self.detail.show_line(self._session, self._lines.get(lane_id or ""))

    @property
    def selected_lane(self) -> str | None:
        """Id of the lane whose finding is shown in full; None without one."""
        return self._selected

    def wanted_height(self) -> int:
        """With every line of the table in view."""
        return self.sizeHint().height() - self.table.sizeHint().height() + self.table.wanted_height()

    # ---- what is asked

    def _choose(self, lane_id: str) -> None:
        if lane_id != self._selected:
            self.select_lane(lane_id)
            self.lane_selected.emit(lane_id)

    def _ask_accept(self, lane_id: str) -> None:
        self.decide_requested.emit([lane_id])

    def _ask_accept_chosen(self) -> None:
        if self._selected is not None:
            self.decide_requested.emit([self._selected])

    def _ask_accept_ticked(self) -> None:
        lane_ids = self._to_accept()
        if lane_ids:
            self.decide_requested.emit(lane_ids)

    def _ask_try(self, index: int) -> None:
        if self._selected is not None:
            self.try_requested.emit(self._selected, index)

    def _ask_put_back(self) -> None:
        if self._selected is not None:
            self.put_back_requested.emit(self._selected)

    def _ask_to_read(self) -> None:
        if self._selected is not None:
            self.read_requested.emit(self._selected)

    def _tick_sound(self, words: tuple[TrustWord, ...]) -> None:
        self.model.tick(set(to_accept(self._session, words)))

    def _tick_shown(self) -> None:
        self.model.tick(
            {
                line.lane_id
                for line in self.model.lines
                if line.arrival_samples is not None and not line.is_anchor
            }
        )

    def apply_theme(self, theme: Theme) -> None:
        self._message.setStyleSheet(f"color: {theme.danger};")
        self._warnings.setStyleSheet(f"color: {theme.warning};")
        self._guesses.setStyleSheet(f"color: {theme.warning};")
        self._fill()

    def _summary_text(self) -> str:
        session = self._session
        if session is None:
            return "No take is open."
        if len(session.lanes) < 2:
            return "Measuring needs two lanes or more."
        if self._is_measuring:
            return f"Measuring {len(session.lanes)} lanes …"
        if session.alignment is None:
            return f"{len(session.lanes)} lanes, not measured yet."
        anchor = next((lane.name for lane in session.lanes if lane.id == session.alignment.anchor_id), "?")
        return f"Against {anchor}: {trust_counts(session.alignment) or 'nothing measured'}."

    def _say_empty(self, session: Session | None) -> None:
        if session is None:
            self._empty.say(
                "No findings yet",
                "Open a take, then press Measure to see how late each lane is, whether it is upside "
                "down, and how far to trust that.",
            )
        elif len(session.lanes) < 2:
            self._empty.say("One lane only", "Add another recording of the same performance, then measure.")
        elif self._is_measuring:
            self._empty.say(
                "Measuring …",
                "How late each lane hears the source, and whether it is upside down. You can go on looking "
                "and listening meanwhile; nothing moves until you accept it.",
            )
        else:
            self._empty.say(
                "Not measured yet",
                "Press Measure to see how late each lane is, whether it is upside down, and how "
                "far to trust that. Nothing moves until you accept it.",
            )
