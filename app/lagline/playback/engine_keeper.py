"""Keeps one engine process running, and a spare one that has loaded everything and waits."""

from __future__ import annotations

import logging
import time
from multiprocessing.context import SpawnContext
from typing import Any

from lagline.errors import EngineFailed
from lagline.playback import protocol
from lagline.playback.board import Board, Field
from lagline.playback.engine import engine_main
from lagline.playback.helper import Helper

MOST_RESTARTS, RESTARTS_WITHIN_S = 3, 10.0
SPARE_AFTER_S = 0.5  # of playing: the first play has the machine to itself
SPARE_AGAIN_AFTER_S = 10.0  # when the system had no process to give

_log = logging.getLogger(__name__)


class EngineKeeper:
    """Starts, replaces and ends engine processes. Says nothing to them by itself; not for several threads.

    The spare takes the place of an engine that has died: loading numpy and the rest takes a third of a
    second on an idle machine and several on a busy one, and silence that long is a break in the work. There
    is none before the first play: who only asks for outputs has nothing that could break off.
    """

    def __init__(self, context: SpawnContext, board: Board, settings: protocol.Settings) -> None:
        self._context = context
        self._board = board
        self._settings = settings
        self._engine: Helper | None = None
        self._spare: Helper | None = None
        self._spare_due: float | None = None
        self._has_played = False
        self._restarts: list[float] = []

    @property
    def is_running(self) -> bool:
        """Whether there is an engine, as far as is known."""
        return self._engine is not None

    @property
    def pid(self) -> int | None:
        """Process id of the engine; None without one."""
        return self._engine.pid if self._engine else None

    def start(self) -> bool:
        """Have an engine; True when it is a new one, which knows nothing yet.

        Raises EngineFailed when the system gives none.
        """
        if self._engine is not None:
            return False
        # No engine is at work: nobody else writes now.
        self._board[Field.ENDED] = self._board[Field.JUMP] = self._board[Field.SOUNDING] = 0.0
        try:
            self._engine, self._spare = self._spare or self._made(), None
        except OSError as error:
            raise EngineFailed(f"the system gave it no process: {error.strerror or error}") from error
        if self._has_played:
            self._spare_due = time.monotonic() + SPARE_AFTER_S
        return True

    def played(self) -> bool:
        """There is something to lose from now on; True the first time: a spare will be wanted soon."""
        if self._has_played:
            return False
        self._has_played = True
        self._spare_due = time.monotonic() + SPARE_AFTER_S
        return True

    def send(self, command: protocol.Command) -> None:
        """Tell the engine, if one runs."""
        if self._engine is not None:
            self._engine.send(command)

    def sources(self) -> list[Any]:
        """For `multiprocessing.connection.wait`."""
        return [source for helper in (self._engine, self._spare) if helper for source in helper.sources]

    def heard(self, ready: list[Any]) -> list[protocol.Event]:
        """What the engine has said."""
        return self._engine.heard(ready) if self._engine else []

    def fallen(self, ready: list[Any]) -> tuple[Helper | None, Helper | None]:
        """The engine and the spare where they have ended: given up here, to be closed by the caller."""
        engine = spare = None
        if self._engine is not None and not self._engine.is_alive():
            engine, self._engine = self._engine, None
            now = time.monotonic()
            self._restarts = [*(at for at in self._restarts if now - at < RESTARTS_WITHIN_S), now]
        if self._spare is not None:
            self._spare.heard(ready)
            if not self._spare.is_alive():
                spare, self._spare = self._spare, None
        return engine, spare

    @property
    def is_hopeless(self) -> bool:
        """Whether the engine has died too often lately to be started again unasked."""
        return len(self._restarts) > MOST_RESTARTS

    # The spare: made outside the player's lock, because starting a process takes a moment

    def spare_wait_s(self) -> float | None:
        """Seconds until a spare should be made; None when none is wanted."""
        if self._spare is not None or self._engine is None or self._spare_due is None:
            return None
        return max(0.0, self._spare_due - time.monotonic())

    def spare_made(self) -> Helper | None:
        """A spare, to be kept; None when the system gives no process."""
        try:
            return self._made()
        except OSError as error:
            _log.warning("no spare engine for now: %s", error)
            return None

    def keep_spare(self, spare: Helper | None) -> None:
        """None: try again later."""
        self._spare = spare
        self._spare_due = time.monotonic() + SPARE_AGAIN_AFTER_S if spare is None else None

    def close(self) -> None:
        """End both. Takes a moment."""
        for helper in (self._engine, self._spare):
            if helper is not None:
                helper.close()
        self._engine = self._spare = None

    def _made(self) -> Helper:
        return Helper(self._context, "lagline playback", engine_main, self._board.numbers, self._settings)
