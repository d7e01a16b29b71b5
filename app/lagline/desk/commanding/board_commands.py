"""The combinations board: its cells heard, measured in the background, marked and kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject

from lagline.blend.passage import compared_passage
from lagline.combinations.cells import Cell, board_session, cell_version
from lagline.desk.commanding.balance_commands import BalanceCommands
from lagline.desk.commanding.cells_delivery import DELIVERY_TITLE, CellsDelivery
from lagline.desk.commanding.first_sound import read_caution
from lagline.desk.commanding.listen_commands import ListenCommands
from lagline.desk.commanding.mend_commands import MENDING_TITLE, MendCommands
from lagline.desk.panels.latest import LatestTask
from lagline.desk.parts import DeskParts

if TYPE_CHECKING:
    from lagline.combinations.facts import BoardFacts
    from lagline.combinations.mend import Mend

BUSY_TITLE = "Measuring combinations"
_MOST_KEPT = 16  # boards remembered


class BoardCommands(QObject):
    """What the combinations panel asks for, done; and what it shows, worked out on a thread of its own."""

    def __init__(self, parts: DeskParts, listen: ListenCommands) -> None:
        super().__init__(parts.window)
        self._parts, self._listen = parts, listen
        self._cells: tuple[Cell, ...] = ()
        self._known: dict[object, BoardFacts] = {}
        self._asked: object = None
        self._ranking = False
        self._task = LatestTask("combinations", parts.window)
        self._task.done.connect(self._show)
        self._task.failed.connect(self._fail)
        self._task.busy_changed.connect(self._show_busy)
        parts.playing.looping_changed.connect(self.follow)
        self.mending = MendCommands(parts)
        self.mending.found.connect(self._offer)
        self.balancing = BalanceCommands(parts)
        self.delivery = CellsDelivery(parts)

    def take_board(self, cells: tuple[Cell, ...]) -> None:
        """These cells are laid out; () while nobody looks."""
        self._cells = cells
        self.follow()

    def follow(self, *_: object) -> None:
        """The session, the loop or the board has changed: have its cells to hear, and their figures."""
        if self._ranking:
            return
        session = self._parts.store.session
        if session is None or not self._cells:
            self.mending.forget()
            self._parts.playing.offer(())
            self._task.cancel()
            self._asked = None
            return
        if not {cell.version_id for cell in self._cells} <= {key for key, _ in session.version_names()}:
            return  # a version has just gone: the board is laid out anew in a moment
        self.mending.follow(session)
        self.balancing.follow()
        self._offer()
        self._measure()

    def _offer(self) -> None:
        """Have the cells at hand, and what was found to mend one."""
        session = self._parts.store.session
        if session is not None:
            cells = tuple(cell_version(session, cell) for cell in self._cells)
            self._parts.playing.offer((*cells, *self.mending.versions(session)))

    def hear_mend(self, mend: Mend) -> None:
        """Hear a combination with the change that mends it."""
        self.hear(mend.cell)

    def hear(self, cell: Cell) -> None:
        """Hear a cell, at the same moment as what was heard before, in a loop."""
        session, playing = self._parts.store.session, self._parts.playing
        if session is None:
            return
        if not playing.state.is_playing:
            read_caution(self._parts)
            loop = self._listen.loop_to_hear(cell.lane_ids)
            if loop is not None:
                self._listen.take_loop(loop, "")
            else:
                self._listen.loop(True)
        playing.hear(cell.id)
        if not playing.state.is_playing:
            playing.play()

    def rank(self, cells: tuple[Cell, ...]) -> None:
        """Compare cells blind, each with each; the ranking is kept if it is wanted."""
        from lagline.desk.panels.ranking_dialog import RankingDialog

        session, playing = self._parts.store.session, self._parts.playing
        if session is None:
            return
        read_caution(self._parts)
        playing.set_difference(False)
        playing.begin_trial()
        self._ranking = True
        ids, names = [cell.id for cell in cells], [cell_version(session, cell).name for cell in cells]
        playing.offer(tuple(cell_version(session, cell) for cell in cells))
        dialog = RankingDialog(playing.as_heard(session), ids, names, self._parts.window)

        def show_playback(_state: object) -> None:
            dialog.show_playback(playing.told)

        show_playback(None)
        playing.state_changed.connect(show_playback)
        dialog.hidden_changed.connect(playing.set_hidden)
        dialog.hear_requested.connect(playing.audition)
        dialog.play_requested.connect(playing.toggle)
        dialog.ranking_finished.connect(self._parts.edits.ranking)
        self._parts.questions.show(dialog)
        playing.state_changed.disconnect(show_playback)
        playing.end_trial()
        self._ranking = False
        self.follow()

    def _measure(self) -> None:
        session, cells = self._parts.store.session, self._cells
        if session is None:
            return
        heard = self._parts.playing.as_heard(session)
        board = board_session(heard, cells)
        start, stop = compared_passage(board)
        lanes = tuple((lane.id, lane.source, lane.place_samples) for lane in board.lanes)
        versions = tuple((version.id, version.moves, version.balances) for version in board.versions)
        asked = (cells, lanes, _frozen(versions), start, stop)
        panel = self._parts.side.tabs.board
        if asked in self._known:
            self._asked = asked
            self._task.cancel()
            panel.show_facts(self._known[asked])
            return
        if asked == self._asked:
            return
        self._asked, clips = asked, dict(self._parts.sounds.clips)

        def work(cancelled: Callable[[], bool]) -> tuple[object, BoardFacts]:
            from lagline.combinations.facts import measured_board

            return asked, measured_board(heard, cells, clips, start, stop, cancelled=cancelled)

        self._task.ask(work)

    def _show(self, found: tuple[object, BoardFacts]) -> None:
        asked, facts = found
        if len(self._known) >= _MOST_KEPT:
            self._known.pop(next(iter(self._known)))
        self._known[asked] = facts
        if asked == self._asked:
            self._parts.side.tabs.board.show_facts(facts)

    def _fail(self, sentence: str) -> None:
        self._forget()
        self._parts.side.tabs.board.show_status(sentence[:1].upper() + sentence[1:])

    def _show_busy(self, busy: bool) -> None:
        if busy:
            self._parts.foot.show_task(BUSY_TITLE, None)
            self._parts.side.tabs.board.show_status("Measuring… listen meanwhile.")
        else:
            self._parts.foot.hide_task(BUSY_TITLE)
            self._parts.side.tabs.board.show_status("")

    def stops(self) -> dict[str, Callable[[], object]]:
        """What can be stopped, by its name."""
        return {
            BUSY_TITLE: self._stop,
            MENDING_TITLE: self.mending.forget,
            DELIVERY_TITLE: self.delivery.stop,
        }

    def _stop(self) -> None:
        self._task.cancel()
        self._forget()
        self._parts.side.tabs.board.show_status("Stopped. Change the board to measure again.")

    def _forget(self) -> None:
        """What was measured is of another timing."""
        self._asked = None
        self._parts.side.tabs.board.show_facts(None)

    def close(self) -> None:
        """Stop measuring for good."""
        self._task.close()
        self.mending.close()
        self.balancing.close()
        self.delivery.close()


def _frozen(versions: tuple[Any, ...]) -> tuple[Any, ...]:
    """What can be looked up: moves and balances as rows."""
    return tuple(
        (key, tuple(sorted(moves.items())), tuple(sorted(balances.items())))
        for key, moves, balances in versions
    )
