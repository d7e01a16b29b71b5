"""The desk's side of measuring levels: asks when edits rest, keeps the newest answer."""

from __future__ import annotations

import time
from multiprocessing.context import SpawnContext
from typing import Any

from lagline.playback.helper import Helper, words_of
from lagline.playback.levels import LevelsFailed, LevelsFound, LevelsWanted, levels_main
from lagline.playback.protocol import Failed
from lagline.session.values import Session

AFTER_S = 0.1  # without further edits


class LevelWatch:
    """Loudness of every version of a session, measured in the background. Not for several threads at once."""

    def __init__(self, context: SpawnContext) -> None:
        self.lufs: dict[str, float] = {}  # by version id, as last measured
        self.match_db: dict[str, float] = {}  # gains that make them equally loud; none above 0
        self.leads: dict[str, int] = {}  # samples by which each comes later than as recorded
        self.ungated = False  # measured without the gates of the standard
        self._context = context
        self._helper: Helper | None = None
        self._session: Session | None = None
        self._with_leads = True
        self._due: float | None = None
        self._asked = self._answered = 0  # tokens
        self._is_early = False  # a process is wanted before there is anything to ask
        self._known = -1  # token of the last full answer

    @property
    def is_measuring(self) -> bool:
        """Whether a measurement is due or under way."""
        return self._due is not None or self._answered != self._asked

    @property
    def is_current(self) -> bool:
        """Whether what is known is measured, not estimated, and of the session as it is now."""
        return bool(self.match_db) and self._known == self._asked and self._due is None

    def prepare(self) -> None:
        """There will be something to measure: start the process now, which takes longer than estimating."""
        self._is_early = self._helper is None

    def note(self, session: Session, *, with_leads: bool = True) -> None:
        """The session sounds like this now; measure it soon, with `leads` if switching keeps the moment."""
        self._session, self._with_leads = session, with_leads
        self._due = time.monotonic() + AFTER_S

    def forget(self) -> None:
        """Another take: what was measured, or is being measured now, says nothing of it."""
        self.lufs, self.match_db, self.leads = {}, {}, {}
        self._session = self._due = None
        self._asked += 1  # an answer that is on its way is to nothing asked any more
        self._answered = self._asked

    def sources(self) -> list[Any]:
        """For `multiprocessing.connection.wait`."""
        return self._helper.sources if self._helper else []

    def wait_s(self) -> float | None:
        """Seconds until `ask_if_due` has something to do; None if it has not."""
        if self._is_early:
            return 0.0
        return None if self._due is None else max(0.0, self._due - time.monotonic())

    def ask_if_due(self) -> Failed | None:
        """Ask when edits have rested; gives back why nobody could be asked."""
        if self._is_early:
            self._is_early = False
            self._started()  # where there is none to be had, asking will say so
        if self._session is None or self._due is None or time.monotonic() < self._due:
            return None
        self._due = None
        self._asked += 1
        helper = self._started()
        if isinstance(helper, Failed):
            self._answered = self._asked
            return helper
        helper.send(LevelsWanted(self._asked, self._session, self._with_leads))
        return None

    def _started(self) -> Helper | Failed:
        if self._helper is None:
            try:
                self._helper = Helper(self._context, "lagline levels", levels_main)
            except OSError as error:
                return words_of(error)
        return self._helper

    def hear(self, ready: list[Any]) -> tuple[bool, Failed | None]:
        """Take in what the process said: whether there are new levels, and what went wrong.

        A failure leaves the last levels: versions that were equally loud stay so until more is known. They
        are not `is_current`.
        """
        newest, failed = False, None
        for said in self._helper.heard(ready) if self._helper else []:
            if isinstance(said, Failed):
                failed = said
            elif isinstance(said, LevelsFailed) and said.token == self._asked:
                self._answered, failed = said.token, said.failed
            elif isinstance(said, LevelsFound) and said.token == self._asked:
                newest = True
                self.lufs, self.match_db, self.ungated = said.lufs, said.match_db, said.ungated
                if not said.is_rough:
                    self.leads = said.leads
                    self._answered = self._known = said.token
        return newest, failed

    def fallen(self) -> Helper | None:
        """The process if it has ended, given up here and to be closed by the caller.

        The next edit starts another; until then nothing is asked, for what it died of might end that too.
        What it had not answered leaves the last levels, as a failure.
        """
        if self._helper is None or self._helper.is_alive():
            return None
        fallen, self._helper = self._helper, None
        if self._answered != self._asked:
            self._answered = self._asked
        return fallen

    def close(self) -> None:
        """End the loudness process, if there is one."""
        if self._helper is not None:
            self._helper.close()
            self._helper = None
