"""The findings: what analysis says of each lane, and what the engineer does about it."""

from __future__ import annotations

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QGridLayout,
    QHBoxLayout,
    QProgressBar,
    QPushButton,
    QScrollArea,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.amounts import Unit
from lagline.desk.panels.accepting import SOUND, STRONG, to_accept
from lagline.desk.panels.empty_state import EmptyState
from lagline.desk.panels.finding_row import FindingRow
from lagline.desk.panels.themed import ScrollBody, Themed, plain_label, shown
from lagline.desk.theme import GAP, PAD, Theme
from lagline.session.values import Session

ROWS_AT_ONCE, ROWS_A_TURN = 4, 1  # a row takes some 10 ms to make


class FindingsPanel(Themed):
    """A row a lane, with accept, try a runner-up and leave; measuring with progress and cancel.

    Receives: `show_session(session or None)`, `show_progress(fraction)`, `show_measured()`,
    `show_message(text)`, `select_lane(lane_id)`, `show_unit(unit)`.

    Signals
    -------
    measure_requested() : measure the take (again).
    cancel_requested() : stop the measurement that is running.
    accept_requested(list[str]) : take the findings of these lanes over (edits.accepted).
    runner_up_requested(str lane_id, int index) : put the lane at `finding.runners_up[index]`;
        index -1 is the finding itself. The lane's shift becomes minus that arrival, with its polarity.
    leave_requested(str lane_id) : the lane stays as recorded; nothing to edit.
    put_back_requested(str lane_id) : the lane goes back to no shift and no flip.
    lane_selected(str lane_id) : show this lane's evidence.
    read_requested(str lane_id) : open the guide where it explains this lane's finding.
    """

    measure_requested = Signal()
    cancel_requested = Signal()
    accept_requested = Signal(list)
    runner_up_requested = Signal(str, int)
    leave_requested = Signal(str)
    put_back_requested = Signal(str)
    lane_selected = Signal(str)
    read_requested = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Findings")
        self._session: Session | None = None
        self._lane_ids: tuple[str, ...] = ()
        self._rows: dict[str, FindingRow] = {}  # those that have been made, in the order of the lanes
        self._more = QTimer(self)
        self._more.setInterval(0)
        self._more.timeout.connect(self._make_more)
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

        self._list = ScrollBody()
        self._column = QVBoxLayout(self._list)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(GAP)
        self._column.addStretch(1)
        self._scroll = QScrollArea()
        self._scroll.setWidgetResizable(True)
        self._scroll.setFrameShape(QScrollArea.Shape.NoFrame)
        self._scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._scroll.setWidget(self._list)
        self._empty = EmptyState(
            "No findings yet",
            "Open a take, then press Measure: here will stand how late each lane is, whether it is upside "
            "down, and how far to trust that.",
        )
        self._pages = QStackedWidget()
        self._pages.addWidget(self._empty)
        self._pages.addWidget(self._scroll)

        self._accept_strong = QPushButton("Accept all strong")
        self._accept_strong.setToolTip("Line up every lane whose finding is strong (Ctrl+Enter)")
        self._accept_strong.clicked.connect(self.ask_accept_strong)
        self._accept_sound = QPushButton("Accept strong and usable")
        self._accept_sound.setToolTip(
            "Line up every lane whose finding is strong or usable; weak ones are left for you to decide, one "
            "by one (Ctrl+Shift+Enter)"
        )
        self._accept_sound.clicked.connect(self.ask_accept_sound)

        head = QHBoxLayout()
        head.addWidget(self._summary, 1)
        head.addWidget(self._measure)
        self._running = QWidget()
        running = QHBoxLayout(self._running)
        running.setContentsMargins(0, 0, 0, 0)
        running.addWidget(self._progress, 1)
        running.addWidget(self._cancel)
        self._foot = QWidget()
        foot = QGridLayout(self._foot)
        foot.setContentsMargins(0, 0, 0, 0)
        foot.addWidget(self._accept_strong, 0, 0)
        foot.addWidget(self._accept_sound, 0, 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(PAD, PAD, PAD, PAD)
        column.setSpacing(PAD)
        column.addLayout(head)
        column.addWidget(self._running)
        column.addWidget(self._message)
        column.addWidget(self._warnings)
        column.addWidget(self._pages, 1)
        column.addWidget(self._foot)
        self.show_measured()
        self.show_message("")
        self.show_session(None)
        self.follow_theme()

    def show_session(self, session: Session | None) -> None:
        """Show the session's findings as they stand in its current version."""
        self._session = session
        lanes = session.lanes if session is not None else ()
        alignment = session.alignment if session is not None else None
        # Rows are made once there is something to put into them: a take that was just opened is drawn first.
        wanted = tuple(lane.id for lane in lanes)
        if self._lane_ids != wanted or (alignment is not None and not self._rows):
            self._rebuild(wanted, make=alignment is not None)
        if self._selected not in self._lane_ids:
            self._selected = None
        for lane_id in self._rows:
            self._fill(lane_id)
        self._pages.setCurrentWidget(self._scroll if alignment is not None else self._empty)
        self._say_empty(session)
        self._foot.setVisible(alignment is not None)
        warnings = "\n".join(f"⚠ {warning}" for warning in alignment.warnings) if alignment else ""
        shown(self._warnings, warnings)
        self._warnings.setVisible(bool(warnings))
        self._measure.setEnabled(len(lanes) >= 2)
        self._measure.setText("Measure again" if alignment is not None else "Measure")
        self._accept_strong.setEnabled(bool(to_accept(session, STRONG)))
        self._accept_sound.setEnabled(bool(to_accept(session, SOUND)))
        shown(self._summary, self._summary_text())

    def show_unit(self, unit: Unit) -> None:
        """Distances in feet and inches for "ft" and "in", else in metres."""
        if unit != self._unit:
            self._unit = unit
            self.show_session(self._session)

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
        """A sentence above the rows, for example why a measurement failed; empty takes it away."""
        shown(self._message, text)
        self._message.setVisible(bool(text))

    def select_lane(self, lane_id: str | None) -> None:
        """Mark a lane's row, without asking back."""
        self._selected = lane_id if lane_id in self._lane_ids else None
        for key, row in self._rows.items():
            row.show_chosen(key == self._selected)
        if self._selected in self._rows:
            self._scroll.ensureWidgetVisible(self._rows[self._selected])

    @property
    def selected_lane(self) -> str | None:
        return self._selected

    def ask_accept_strong(self) -> None:
        self._ask_accept(to_accept(self._session, STRONG))

    def ask_accept_sound(self) -> None:
        """Strong and usable ones; a weak one is accepted by itself or not at all."""
        self._ask_accept(to_accept(self._session, SOUND))

    def _ask_accept(self, lane_ids: list[str]) -> None:
        if lane_ids:
            self.accept_requested.emit(lane_ids)

    def apply_theme(self, theme: Theme) -> None:
        self._list.setStyleSheet("")
        self._message.setStyleSheet(f"color: {theme.danger};")
        self._warnings.setStyleSheet(f"color: {theme.warning};")
        self.show_session(self._session)

    def _rebuild(self, lane_ids: tuple[str, ...], *, make: bool) -> None:
        for row in self._rows.values():
            self._column.removeWidget(row)
            row.hide()
            row.deleteLater()
        self._lane_ids, self._rows = lane_ids, {}
        self._more.stop()
        if make:
            self._make_rows(ROWS_AT_ONCE)

    def _make_more(self) -> None:
        self._make_rows(len(self._rows) + ROWS_A_TURN)

    def _make_rows(self, wanted: int) -> None:
        """Make rows until there are `wanted`; the rest follow while the window stays awake."""
        for lane_id in self._lane_ids[len(self._rows) : wanted]:
            row = FindingRow(lane_id)
            row.accept_requested.connect(self._row_accepts)
            row.try_requested.connect(self.runner_up_requested)
            row.leave_requested.connect(self._row_leaves)
            row.put_back_requested.connect(self.put_back_requested)
            row.selected.connect(self._row_selected)
            row.read_requested.connect(self.read_requested)
            row.step_requested.connect(self._step)
            self._column.insertWidget(len(self._rows), row)
            self._rows[lane_id] = row
            self._fill(lane_id)
        if len(self._rows) < len(self._lane_ids):
            self._more.start()
        else:
            self._more.stop()

    def _fill(self, lane_id: str) -> None:
        session = self._session
        if session is None:
            return
        alignment = session.alignment
        finding = alignment.finding(lane_id) if alignment is not None else None
        colour = self.theme.lane(self._lane_ids.index(lane_id))
        self._rows[lane_id].show_lane(session, session.lane(lane_id), finding, colour, self._unit)
        self._rows[lane_id].show_chosen(lane_id == self._selected)

    def _row_accepts(self, lane_id: str) -> None:
        self.accept_requested.emit([lane_id])

    def _row_leaves(self, lane_id: str) -> None:
        self.leave_requested.emit(lane_id)
        self._step(lane_id, 1)

    def _row_selected(self, lane_id: str) -> None:
        changed = lane_id != self._selected
        self.select_lane(lane_id)
        if changed:
            self.lane_selected.emit(lane_id)

    def _step(self, lane_id: str, by: int) -> None:
        there = self._lane_ids.index(lane_id) + by
        if 0 <= there < len(self._lane_ids):
            self._make_rows(there + 1)
            self._rows[self._lane_ids[there]].setFocus(Qt.FocusReason.TabFocusReason)

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
        words = [f.trust_word for f in session.alignment.findings if f.lane_id != session.alignment.anchor_id]
        counts = ", ".join(
            f"{words.count(word)} {word}"
            for word in ("strong", "usable", "weak", "none")
            if words.count(word)
        )
        return f"Against {anchor}: {counts or 'nothing measured'}."

    def _say_empty(self, session: Session | None) -> None:
        if session is None:
            self._empty.say(
                "No findings yet",
                "Open a take, then press Measure: here will stand how late each lane is, whether it is "
                "upside down, and how far to trust that.",
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
                "Press Measure: here will stand how late each lane is, whether it is upside down, and how "
                "far to trust that. Nothing moves until you accept it.",
            )
