"""Least change from what is liked: worked out in the background, heard beside the board's cells, kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

from lagline.blend.passage import compared_passage
from lagline.combinations.cells import Cell, board_session, cell_version
from lagline.desk.lane_edits import free_name
from lagline.desk.panels.latest import LatestTask
from lagline.desk.parts import DeskParts
from lagline.session.values import Balance, Move, Session, Version

if TYPE_CHECKING:
    from lagline.combinations.mend import Mend

MENDING_TITLE = "Looking for the least change"
NOTHING_MENDS = "No shift up to 5 ms, gain or flip of one part mends its worst notch."
Timing = tuple[dict[str, Move], dict[str, Balance]]


class MendCommands(QObject):
    """`found`: there are changes to hear, or none any more."""

    found = Signal()

    def __init__(self, parts: DeskParts) -> None:
        super().__init__(parts.window)
        self._parts = parts
        self._of: tuple[Cell, Timing] | None = None
        self._task = LatestTask("least change", parts.window)
        self._task.done.connect(self._show)
        self._task.failed.connect(self._fail)
        self._task.busy_changed.connect(self._show_busy)

    def ask(self, cell: Cell) -> None:
        """Look for the least change that mends this cell."""
        session = self._parts.store.session
        if session is None:
            return
        heard = self._parts.playing.as_heard(session)
        start, stop = compared_passage(board_session(heard, [cell]))
        self._of, clips = (cell, _timing(session, cell)), dict(self._parts.sounds.clips)

        def work(cancelled: Callable[[], bool]) -> tuple[Mend, ...]:
            from lagline.combinations.mend import mends

            return mends(heard, cell, clips, start, stop, cancelled=cancelled)

        self._task.ask(work)

    def follow(self, session: Session | None) -> None:
        """What was found of a timing that is another now is nothing to hear any more."""
        if self._of is None:
            return
        cell, timing = self._of
        if session is None or not session.has_version(cell.version_id) or _timing(session, cell) != timing:
            self.forget()

    def forget(self) -> None:
        """Show none any more."""
        self._of = None
        self._task.cancel()
        self._parts.side.tabs.board.mends.show_text("")

    def versions(self, session: Session) -> tuple[Version, ...]:
        """What is to be heard of those shown."""
        found = self._parts.side.tabs.board.mends.mends
        if not found:
            return ()
        from lagline.combinations.mend import mended_session

        with_them = mended_session(session, found)
        return tuple(cell_version(with_them, mend.cell) for mend in found)

    def keep(self, mend: Mend) -> None:
        """The combination with the change as one more version; work goes on where it is."""
        from lagline.combinations.mend import change_words, with_mend_kept

        def kept(old: Session) -> Session:
            name = f"{mend.before.cell.name}, {change_words(old, mend)}"
            taken = {known.casefold() for _, known in old.version_names()}
            return with_mend_kept(old, mend, free_name(old, name) if name.casefold() in taken else name)

        self._parts.edits.apply(f"Keep {mend.before.cell.name} mended", kept)

    def _show(self, found: tuple[Mend, ...]) -> None:
        session, shown = self._parts.store.session, self._parts.side.tabs.board.mends
        if session is None or self._of is None:
            return
        if not found:
            shown.show_text(NOTHING_MENDS)
            return
        shown.show_mends(session, found)
        self.found.emit()
        shown.hear_next()

    def _fail(self, sentence: str) -> None:
        self._parts.side.tabs.board.mends.show_text(sentence[:1].upper() + sentence[1:])

    def _show_busy(self, busy: bool) -> None:
        if busy:
            self._parts.foot.show_task(MENDING_TITLE, None)
            self._parts.side.tabs.board.mends.show_text(f"{MENDING_TITLE}…")
        else:
            self._parts.foot.hide_task(MENDING_TITLE)

    def close(self) -> None:
        """End the thread for good."""
        self._task.close()


def _timing(session: Session, cell: Cell) -> Timing:
    version = session.version(cell.version_id)
    return version.moves, version.balances
