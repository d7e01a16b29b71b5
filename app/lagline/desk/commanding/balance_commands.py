"""Balancing a combination on the board: measured in the background, its gains moved at constant loudness."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject

from lagline.blend.passage import compared_passage
from lagline.combinations.cells import Cell, board_session
from lagline.desk.panels.latest import LatestTask
from lagline.desk.parts import DeskParts
from lagline.session.values import Session

if TYPE_CHECKING:
    from lagline.combinations.balance import BalanceMeter


class BalanceCommands(QObject):
    """What the balance pad of the board asks for."""

    def __init__(self, parts: DeskParts) -> None:
        super().__init__(parts.window)
        self._parts = parts
        self._meter: BalanceMeter | None = None
        self._asked: Cell | None = None
        self._lufs: float | None = None  # to be kept while the handle moves
        self._task = LatestTask("balance", parts.window)
        self._task.done.connect(self._measured)
        self._task.failed.connect(self._fail)

    def take_cell(self, cell: Cell | None) -> None:
        """Balance this cell; None for none."""
        self._asked, self._meter = cell, None
        self.follow()

    def follow(self) -> None:
        """The session or the cell has changed: show its shares, measure anew what has another timing."""
        session, cell, meter = self._parts.store.session, self._asked, self._meter
        box = self._parts.side.tabs.board.balance
        if session is None or cell is None or not session.has_version(cell.version_id):
            self._task.cancel()
            box.pad.show_shares((), ())
        elif meter is not None and meter.holds_for(session):
            box.pad.show_shares([part.name for part in meter.parts], meter.shares(session))
        else:
            self._meter = None
            self._measure(session, cell)

    def _measure(self, session: Session, cell: Cell) -> None:
        heard = self._parts.playing.as_heard(session)
        start, stop = compared_passage(board_session(heard, [cell]))
        clips = dict(self._parts.sounds.clips)
        self._parts.side.tabs.board.balance.show_text("Measuring…")

        def work(cancelled: Callable[[], bool]) -> BalanceMeter:
            from lagline.combinations.balance import balance_meter

            return balance_meter(heard, cell, clips, start, stop, cancelled=cancelled)

        self._task.ask(work)

    def _measured(self, meter: BalanceMeter) -> None:
        session = self._parts.store.session
        if session is not None and meter.cell == self._asked and meter.holds_for(session):
            self._meter, self._lufs = meter, None
            self._parts.side.tabs.board.balance.show_text("")
            self.follow()

    def _fail(self, sentence: str) -> None:
        self._parts.side.tabs.board.balance.show_text(f"{sentence[:1].upper()}{sentence[1:]}.")

    def begin(self) -> None:
        """What follows is one step, at the loudness of now."""
        self._lufs = None
        self._parts.store.end_group()

    def move(self, shares: tuple[float, ...]) -> None:
        """Let the parts share the sound like this."""
        session, meter = self._parts.store.session, self._meter
        if session is None or meter is None:
            return
        from lagline.combinations.balance import with_gains

        if self._lufs is None:
            self._lufs = meter.lufs(session)
        gains_db = meter.gains_db(session, shares, self._lufs)
        name = f"Balance {meter.cell.name}"
        self._parts.edits.apply(name, lambda old: with_gains(old, meter.cell, gains_db), "balance")
        self.follow()  # the next key counts from here

    def close(self) -> None:
        """End the thread for good."""
        self._task.close()
