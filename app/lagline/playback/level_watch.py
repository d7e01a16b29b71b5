"""The desk's side of measuring levels: asks when edits rest, keeps the newest answer."""

from __future__ import annotations

import time
from multiprocessing.context import SpawnContext
from typing import Any

from lagline.playback.helper import Helper
from lagline.playback.levels import LevelsFound, LevelsWanted, levels_main, passage
from lagline.session.values import ORIGINAL_ID, Session

AFTER_S = 0.25  # without further edits


class LevelWatch:
    """Loudness of every version of a session, measured in the background. Not for several threads at once."""

    def __init__(self, context: SpawnContext) -> None:
        self.lufs: dict[str, float] = {}  # by version id, as last measured
        self.match_db: dict[str, float] = {}  # gains that make them equally loud; none above 0
        self._context = context
        self._helper: Helper | None = None
        self._session: Session | None = None
        self._due: float | None = None
        self._asked = self._answered = 0  # tokens

    @property
    def is_measuring(self) -> bool:
        return self._due is not None or self._answered != self._asked

    def note(self, session: Session) -> None:
        """The session sounds like this now; measure it soon."""
        self._session = session
        self._due = time.monotonic() + AFTER_S

    def forget(self) -> None:
        """Another take: what was measured says nothing of it."""
        self.lufs, self.match_db = {}, {}

    def sources(self) -> list[Any]:
        """For `multiprocessing.connection.wait`."""
        return [self._helper.connection, self._helper.sentinel] if self._helper else []

    def wait_s(self) -> float | None:
        """Seconds until `ask_if_due` has something to do; None if it has not."""
        return None if self._due is None else max(0.0, self._due - time.monotonic())

    def ask_if_due(self) -> None:
        if self._session is None or self._due is None or time.monotonic() < self._due:
            return
        self._due = None
        session = self._session
        versions = (ORIGINAL_ID, *(version.id for version in session.versions))
        self._asked += 1
        if self._helper is None:
            self._helper = Helper(self._context, "lagline levels", levels_main)
        self._helper.send(LevelsWanted(self._asked, session, versions, *passage(session)))

    def hear(self, ready: list[Any]) -> bool:
        """Take in what the process said; True when there are new levels."""
        if self._helper is None:
            return False
        newest = False
        for found in self._helper.heard(ready):
            if isinstance(found, LevelsFound) and found.token == self._asked:
                self._answered, newest = found.token, True
                self.lufs, self.match_db = found.lufs, found.match_db
        if not self._helper.is_alive():
            self.close()
            self._answered = self._asked  # what it died of would end the next one too
        return newest

    def close(self) -> None:
        if self._helper is not None:
            self._helper.close()
            self._helper = None
