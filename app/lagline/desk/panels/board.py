"""The combinations board: every choice of lanes, as recorded and lined up, to hear, compare and decide."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import Literal

from PySide6.QtCore import Signal
from PySide6.QtGui import QHideEvent, QShowEvent
from PySide6.QtWidgets import QCheckBox, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from lagline.combinations.cells import (
    MOST_PARTS,
    USUAL_COMBINATIONS,
    Cell,
    Part,
    laid_out,
    parts_of,
    timing_name,
)
from lagline.combinations.facts import BoardFacts, CellFacts
from lagline.combinations.orders import FIGURES, Figure, Order, last_if_none
from lagline.combinations.words import suggestions, told
from lagline.desk.panels.balance_box import BalanceBox
from lagline.desk.panels.board_table import BoardTable, CellLook
from lagline.desk.panels.cell_plot import CellPlot
from lagline.desk.panels.chooser import Chooser
from lagline.desk.panels.flow import FlowLayout, emptied
from lagline.desk.panels.mend_list import MendList
from lagline.desk.panels.themed import Themed, plain_label, shown
from lagline.desk.plain import plain_tip
from lagline.desk.theme import GAP, PAD, Theme
from lagline.playback.paired import FEWEST_RANKED, MOST_RANKED
from lagline.session.values import ORIGINAL_ID, Mark, Session

ALL_COMBINATIONS = 255
_TOLD_MATCH_DB = 0.05
# What each order is called; best first, what there is no figure for comes last.
ORDERS: dict[Order | Literal["stars"], str] = {
    "size": "How many lanes",
    "stars": "Your stars",
    "notch": "Deepest notch",
    "ripple": "Ripple",
    "low": "Gain in the lows",
    "middle": "Gain in the middle",
    "high": "Gain in the highs",
    "mono": "Loss in mono",
    "width": "Width",
    "crest": "Crest",
    "loudness": "Loudness",
}


class BoardPanel(Themed):
    """Receives: `show_session(session or None)`, `show_facts(facts or None)`, `show_heard(version id)`,
    `show_match(decibels)`, `show_status(text)`.

    Signals
    -------
    board_changed(tuple of Cell) : these cells are laid out, () while nobody looks: have them ready to hear.
    hear_requested(Cell)
    stars_requested(Cell, int stars) : keep what is thought of it (edits.with_mark).
    strike_requested(Cell) : strike it out, or take it back.
    keep_requested(Cell) : keep it as a version.
    rank_requested(tuple of Cell) : compare these blind, each with each.
    deliver_requested(tuple of Cell, tuple of Cell) : deliver some of the first ones, of which the second ones
        are most likely.
    mend_requested(Cell) : look for the least change that mends it; `mends` shows and lets hear and keep.
    """

    board_changed = Signal(tuple)
    hear_requested = Signal(object)
    stars_requested = Signal(object, int)
    strike_requested = Signal(object)
    keep_requested = Signal(object)
    rank_requested = Signal(tuple)
    mend_requested = Signal(object)
    deliver_requested = Signal(tuple, tuple)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Combinations")
        self._session: Session | None = None
        self._facts: BoardFacts | None = None
        self._by_id: dict[str, CellFacts] = {}
        self._cells: tuple[Cell, ...] = ()
        self._told: tuple[Cell, ...] | None = None
        self._most = USUAL_COMBINATIONS
        self._said = self._objection = ""
        self._boxes: dict[Part, QCheckBox] = {}
        self._parts = QWidget()
        self._flow = FlowLayout(self._parts)
        self._timing_boxes: dict[str, QCheckBox] = {}
        self._picked: dict[str, bool] = {}  # timings that were ticked or unticked
        self._timings = QWidget()
        self._timing_flow = FlowLayout(self._timings)
        self._sort = Chooser(
            "Sort combinations by", "What comes first, by the figures of the version you work in"
        )
        self._sort.offer([(text, key) for key, text in ORDERS.items()], "size")
        self._sort.currentIndexChanged.connect(self._refresh)
        self._more = QPushButton()
        self._more.clicked.connect(self._show_all)
        self.table = BoardTable()
        self.table.hear_asked.connect(self.hear_requested)
        self.table.stars_asked.connect(self._ask_stars)
        self.table.strike_asked.connect(self._ask_strike)
        self.table.keep_asked.connect(self._ask_keep)
        self.table.mend_asked.connect(self._ask_mend)
        self.mends = MendList()
        self.table.mend_kept.connect(self.mends.keep_heard)
        self.balance = BalanceBox()
        self.balance.pad.left.connect(self.table.setFocus)
        self.table.balance_asked.connect(self._show_balance)
        self.plot = CellPlot()
        self.table.plot_asked.connect(self._show_plot)
        self.table.deliver_asked.connect(self._ask_deliver)
        self.table.currentCellChanged.connect(self._show_cell)
        self._words = plain_label(selectable=True)
        self._words.setAccessibleName("What this combination does")
        self._figures = plain_label(selectable=True)
        self._figures.setAccessibleName("Figures of this combination")
        self._figures.setProperty("muted", True)
        self._suggested = QWidget()
        self._suggestions = QVBoxLayout(self._suggested)
        self._suggestions.setContentsMargins(0, 0, 0, 0)
        self._match = plain_label()
        self._match.setProperty("muted", True)
        self._match.setAccessibleName("Equal loudness")
        self._match.hide()
        self._status = plain_label()
        self._status.setProperty("muted", True)
        self._make_buttons()
        self._lay_out()
        self.show_session(None)
        self.follow_theme()

    def _make_buttons(self) -> None:
        self._keep = _button("Keep as a version", "Add it to the versions under its name (V)", self._ask_keep)
        self._strike = _button("Strike out", "Out of the running, or back in (Delete)", self._ask_strike)
        self._mend = _button(
            "Least change", "Mend its worst notch by the smallest shift, gain or flip (M)", self._ask_mend
        )
        self._balance = _button(
            "Balance", "Two or three against each other, at constant loudness (B)", self._show_balance
        )
        self._balance.setCheckable(True)
        self._plot = _button("Plot", "Its tone against the fullest combination (P)", self._show_plot)
        self._plot.setCheckable(True)
        self._rank = _button("Compare blind…", "", self._ask_rank)
        self._deliver = _button("Deliver…", "Write several as files, equally loud (D)", self._ask_deliver)
        for button in (self._balance, self._plot):
            button.setMinimumWidth(button.sizeHint().width() + PAD)  # bold while it is open

    def _lay_out(self) -> None:
        top = QHBoxLayout()
        top.addWidget(plain_label("Sort by", wrap=False))
        top.addWidget(self._sort, 1)
        top.addWidget(self._more)
        buttons = QWidget()
        flow = FlowLayout(buttons)
        for button in (
            self._keep,
            self._strike,
            self._mend,
            self._balance,
            self._plot,
            self._rank,
            self._deliver,
        ):
            flow.addWidget(button)
        column = QVBoxLayout(self)
        column.setContentsMargins(PAD, PAD, PAD, PAD)
        column.setSpacing(GAP)
        column.addWidget(self._parts)
        column.addWidget(self._timings)
        column.addLayout(top)
        column.addWidget(self.table, 1)
        column.addWidget(self._match)
        column.addWidget(self._words)
        column.addWidget(self._figures)
        column.addWidget(buttons)
        column.addWidget(self.balance)
        column.addWidget(self.plot)
        column.addWidget(self.mends)
        column.addWidget(self._suggested)
        column.addWidget(self._status)

    def apply_theme(self, theme: Theme) -> None:
        """The cells in the colours of the theme."""
        self.table.refresh()

    # ---- what is shown

    @property
    def cells(self) -> tuple[Cell, ...]:
        """What is laid out, in the order of the table."""
        return tuple(look.cell for line in self._rows() for look in line)

    def show_session(self, session: Session | None) -> None:
        """The lanes and versions that are laid out; None for no take."""
        self._session = session
        if session is None:
            self._facts, self._by_id, self._most = None, {}, USUAL_COMBINATIONS
            self._picked = {}
        self._offer_parts(parts_of(session) if session is not None else ())
        self._offer_timings(session)
        self._layout_changed()

    def show_facts(self, facts: BoardFacts | None) -> None:
        """What was measured of the cells; None while nothing is."""
        self._facts = facts
        self._by_id = {one.cell.id: one for one in facts.cells} if facts is not None else {}
        self._suggest()
        self._refresh()

    def show_heard(self, version_id: str | None) -> None:
        """Mark the cell that is heard; None for none of them."""
        self.table.show_heard(version_id or "")

    def show_match(self, gain_db: float) -> None:
        """By how much equal loudness turns down what is heard; 0.0 where it does not."""
        down = f"Turned down {-gain_db:.1f} dB: every combination is as loud as the quietest."
        shown(self._match, down if gain_db <= -_TOLD_MATCH_DB else "")
        self._match.setVisible(bool(self._match.text()))

    def show_status(self, text: str) -> None:
        """A sentence about measuring; empty for none."""
        self._said = text
        self._show_said()

    def _show_said(self) -> None:
        shown(self._status, self._objection or self._said)
        self._status.setVisible(bool(self._status.text()))

    def showEvent(self, event: QShowEvent) -> None:
        """The cells are wanted from now on."""
        super().showEvent(event)
        self._tell_board()

    def hideEvent(self, event: QHideEvent) -> None:
        """The cells are wanted no longer."""
        super().hideEvent(event)
        if not event.spontaneous():  # minimised, it goes on sounding
            self._tell_board()

    def _offer_parts(self, parts: Sequence[Part]) -> None:
        if tuple(self._boxes) == tuple(parts):
            return
        old = {part.lane_ids: box.isChecked() for part, box in self._boxes.items()}
        emptied(self._flow)
        self._boxes = {}
        for number, part in enumerate(parts):
            box = QCheckBox(part.name)
            box.setToolTip(plain_tip(f"Combine {part.name}; {MOST_PARTS} at most"))
            box.setChecked(old.get(part.lane_ids, number < MOST_PARTS))
            box.toggled.connect(self._layout_changed)
            self._flow.addWidget(box)
            self._boxes[part] = box

    def _offer_timings(self, session: Session | None) -> None:
        """A tick for each version, where there are several; at first the original's and the current one's."""
        names = dict(session.version_names()) if session is not None else {}
        self._timings.setVisible(len(names) > 2)
        if {key: box.text() for key, box in self._timing_boxes.items()} != names:
            emptied(self._timing_flow)
            self._timing_boxes = {}
            for key, name in names.items():
                box = self._timing_boxes[key] = QCheckBox(name)
                box.setToolTip(plain_tip(f"A column of combinations at the timing and balance of {name}"))
                box.clicked.connect(partial(self._pick_timing, key))
                self._timing_flow.addWidget(box)
        for key, box in self._timing_boxes.items():
            box.setChecked(key in self._timing_ids())

    def _pick_timing(self, version_id: str, *_: object) -> None:
        self._picked[version_id] = self._timing_boxes[version_id].isChecked()
        self._layout_changed()

    def _timing_ids(self) -> tuple[str, ...]:
        """The columns: those picked, and of the others as recorded and the version worked in."""
        if self._session is None:
            return ()
        usual = (ORIGINAL_ID, self._session.current_version_id)
        known = [key for key, _ in self._session.version_names()]
        return tuple(key for key in known if self._picked.get(key, key in usual))

    def _layout_changed(self) -> None:
        session, chosen = self._session, [part for part, box in self._boxes.items() if box.isChecked()]
        cells: tuple[Cell, ...] = ()
        if session is not None and 1 <= len(chosen) <= MOST_PARTS:
            cells = laid_out(chosen, self._timing_ids(), self._most)
        every = 2 ** len(chosen) - 1
        self._more.setText(f"Show all {every}")
        self._more.setToolTip(plain_tip(f"Lay out all {every} combinations, not only {USUAL_COMBINATIONS}"))
        self._more.setVisible(bool(cells) and every * len(self._timing_ids()) > len(cells))
        self._objection = ""
        if session is not None and not cells:
            is_timing = 1 <= len(chosen) <= MOST_PARTS
            self._objection = "Tick a timing." if is_timing else f"Tick 1 to {MOST_PARTS} lanes to combine."
        self._show_said()
        self._cells = cells
        self._tell_board()
        self._refresh()

    def _tell_board(self) -> None:
        cells = self._cells if self.isVisible() else ()
        if cells != self._told:
            self._told = cells
            self.board_changed.emit(cells)

    def _rows(self) -> list[list[CellLook]]:
        """A row a choice of lanes, in the order asked for."""
        rows: dict[tuple[str, ...], list[CellLook]] = {}
        for cell in self._cells:
            rows.setdefault(cell.lane_ids, []).append(CellLook(cell, self._in_words(cell), self._mark(cell)))
        key = self._sort.currentData()
        figure = FIGURES.get(key) if key != "size" else None
        lines = list(rows.values())
        if key == "stars":
            lines.sort(key=lambda line: -max(look.mark.rating - 9 * look.mark.struck for look in line))
        elif figure is not None:
            lines.sort(key=lambda line: self._figure_of(self._ranked_by(line), figure))
        return lines

    def _ranked_by(self, line: list[CellLook]) -> Cell:
        """The cell of a row at the version worked in, or the last one."""
        current = self._session.current_version_id if self._session is not None else ""
        return next((look.cell for look in line if look.cell.version_id == current), line[-1].cell)

    def _figure_of(self, cell: Cell, figure: Figure) -> float:
        facts = self._by_id.get(cell.id)
        return last_if_none(figure(facts) if facts is not None else math.nan)

    def _in_words(self, cell: Cell) -> str:
        facts = self._by_id.get(cell.id)
        if facts is None or self._facts is None:
            return "…"
        recorded = Cell(cell.parts, ORIGINAL_ID)
        as_recorded = self._by_id.get(recorded.id) if recorded != cell else None
        return told(facts, as_recorded, self._facts.bands_hz)

    def _mark(self, cell: Cell) -> Mark:
        return self._session.marks.get(cell.id, Mark()) if self._session is not None else Mark()

    def _refresh(self) -> None:
        session = self._session
        columns = {cell.version_id: cell for cell in self._cells[: len(self._timing_ids())]}
        timings = [timing_name(session, cell) for cell in columns.values()] if session is not None else []
        titles = [text[:1].upper() + text[1:] for text in timings]
        self.table.show_looks(titles, self._rows())
        self._show_cell()

    def ranked_cells(self) -> tuple[Cell, ...]:
        """What is compared blind: those with stars, or without any stars those that are not struck out."""
        marks = {cell: self._mark(cell) for cell in self._cells}
        running = [cell for cell, mark in marks.items() if not mark.struck]
        return tuple([cell for cell in running if marks[cell].rating] or running)

    def _show_cell(self) -> None:
        cell, session = self.table.current_cell, self._session
        self.balance.show_cell(cell)
        count = len(self.ranked_cells())
        self._rank.setEnabled(FEWEST_RANKED <= count <= MOST_RANKED)
        self._rank.setToolTip(
            plain_tip(
                f"Hear the {count} combinations in the running pair by pair, without their names"
                if self._rank.isEnabled()
                else f"Give stars to {FEWEST_RANKED} to {MOST_RANKED} combinations to compare them blind"
            )
        )
        for button in (self._keep, self._strike, self._mend, self._deliver):
            button.setEnabled(cell is not None)
        if cell is None or session is None:
            shown(self._words, "")
            shown(self._figures, "")
            return
        self._strike.setText("Take back" if self._mark(cell).struck else "Strike out")
        shown(self._words, f"{cell.name}, {timing_name(session, cell)}: {self._in_words(cell)}")
        facts = self._by_id.get(cell.id)
        shown(self._figures, _figures_text(facts) if facts is not None else "")
        if not self.plot.isHidden():
            self.plot.show_cell(self._facts, facts, f"{cell.name}, {timing_name(session, cell)}")

    def _suggest(self) -> None:
        emptied(self._suggestions)
        session = self._session
        if self._facts is None or session is None:
            return
        for one in suggestions(self._facts):
            line, name = QWidget(), f"{one.name[:1].upper()}{one.name[1:]}"
            cell = f"{one.cell.name}, {timing_name(session, one.cell)}"
            button = QPushButton(name)
            button.setAccessibleName(f"{name}: {cell}")
            button.setToolTip(plain_tip(f"Hear {cell}"))
            button.clicked.connect(partial(self._hear_suggested, one.cell))
            row = QHBoxLayout(line)
            row.setContentsMargins(0, 0, 0, 0)
            row.addWidget(button)
            row.addWidget(plain_label(f"{cell}: {one.reason}"), 1)
            self._suggestions.addWidget(line)

    # ---- what is asked

    def _show_all(self) -> None:
        self._most = ALL_COMBINATIONS
        self._layout_changed()

    def _hear_suggested(self, cell: Cell, *_: object) -> None:
        self.table.choose(cell)
        self.table.setFocus()
        self.hear_requested.emit(cell)

    def _ask_stars(self, stars: int) -> None:
        cell = self.table.current_cell
        if cell is not None:
            self.stars_requested.emit(cell, stars)

    def _ask_strike(self) -> None:
        cell = self.table.current_cell
        if cell is not None:
            self.strike_requested.emit(cell)

    def _ask_rank(self) -> None:
        self.rank_requested.emit(self.ranked_cells())

    def _show_balance(self) -> None:
        """Open the balance pad, or close it."""
        opens = self.balance.isHidden()
        self._balance.setChecked(opens)
        self.balance.setVisible(opens)
        (self.balance.pad if opens else self.table).setFocus()

    def _show_plot(self) -> None:
        """Open the plot of the tone, or close it."""
        opens = self.plot.isHidden()
        self._plot.setChecked(opens)
        self.plot.setVisible(opens)
        self._show_cell()

    def _ask_mend(self) -> None:
        """Look for it, or go on to the next one found for the same cell."""
        cell, found = self.table.current_cell, self.mends.mends
        if cell is not None and found and found[0].before.cell == cell:
            self.mends.hear_next()
        elif cell is not None:
            facts = self._by_id.get(cell.id)
            if facts is not None and not facts.notches:
                self.mends.show_text(f"{cell.name} has no notch to mend.")
            else:
                self.mend_requested.emit(cell)

    def _ask_deliver(self) -> None:
        starred = tuple(cell for cell in self.ranked_cells() if self._mark(cell).rating)
        current = self.table.current_cell
        self.deliver_requested.emit(self.cells, starred or ((current,) if current is not None else ()))

    def _ask_keep(self) -> None:
        cell = self.table.current_cell
        if cell is not None:
            self.keep_requested.emit(cell)


def _figures_text(one: CellFacts) -> str:
    """`ripple 1.5 dB · summing -1.9 dB low, ... · mono +0.0 LU`; what there is none of is left out."""
    low, middle, high = (_signed(gain_db) for gain_db in one.summing_gain_db)
    parts = [
        f"ripple {one.ripple_db:.1f} dB",
        f"summing {low} dB low, {middle} middle, {high} high",
        f"mono {_signed(one.mono_lu)} LU",
        f"width {one.width:.2f}",
        f"crest {one.crest_db:.1f} dB",
        f"{one.loudness_lufs:.1f} LUFS",
    ]
    return " · ".join(part for part in parts if "nan" not in part and "inf" not in part)


def _signed(value: float) -> str:
    return f"{round(value, 1) + 0.0:+.1f}" if math.isfinite(value) else "nan"


def _button(text: str, tip: str, asked: Callable[[], None]) -> QPushButton:
    button = QPushButton(text)
    button.setToolTip(tip)
    button.clicked.connect(asked)
    return button
