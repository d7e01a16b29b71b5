"""Watching the day's folders: takes that are being recorded come onto the list when they are finished, and
are measured in the background.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from PySide6.QtCore import QObject, QTimer

from lagline.day.asking import Asked, Measure
from lagline.day.values import Day
from lagline.desk.actions import Handler
from lagline.desk.commanding.takes_commands import WORKING
from lagline.desk.job import Job
from lagline.desk.parts import DeskParts

LOOK_MS = 5_000


class TakesWatching(QObject):
    """Looks every few seconds while it is on; what else is done with the takes goes first."""

    def __init__(self, parts: DeskParts) -> None:
        super().__init__(parts.window)
        self._parts = parts
        self._looked_at: Day | None = None
        self._job: Job | None = None
        self.check_on: Callable[[bool], None] = lambda _: None  # the menu's tick; the desk sets it
        self._timer = QTimer(self)
        self._timer.setInterval(LOOK_MS)
        self._timer.timeout.connect(self.look)

    def handlers(self) -> dict[str, Handler]:
        """What each command does, by its id."""
        return {"takes_watch": self.toggle}

    @property
    def is_on(self) -> bool:
        """Whether the folders are watched."""
        return self._timer.isActive()

    def toggle(self) -> None:
        """Begin to watch, or leave off."""
        if self.is_on:
            self._timer.stop()
        elif self._parts.takes.day is None:
            self._parts.messages.show_problem("There is no list yet: make one of the folder (Ctrl+T).")
        else:
            self._timer.start()
            self._parts.messages.show_note("Finished takes will come onto the list by themselves.")
            self.look()
        self.check_on(self.is_on)

    def look(self) -> None:
        """Look now, unless there is something else to do."""
        day = self._parts.takes.day
        if day is None or self._job is not None or self._parts.takes_work.is_busy:
            return
        self._looked_at = day

        def work(_progress: object, _cancelled: object) -> Day:
            from lagline.day.listing import arrived

            return arrived(day, now_s=time.time())

        job = self._job = Job("Looking for takes", work, self)
        job.done.connect(self._take)
        job.failed.connect(self._fail)
        job.finished.connect(self._forget)
        job.start()

    def close(self) -> None:
        """Leave off, and wait for the look that is under way."""
        self._timer.stop()
        if self._job is not None:
            self._job.wait()

    def _take(self, day: Day) -> None:
        parts = self._parts
        if day is self._looked_at or parts.takes.day is not self._looked_at or parts.takes_work.is_busy:
            return  # nothing new, or the list has changed meanwhile: the next look tells
        known = {take.name for take in self._looked_at.takes} if self._looked_at is not None else set()
        new = [take for take in day.takes if take.name not in known]
        parts.takes.change(day)
        parts.messages.show_note(f"New: {', '.join(take.name for take in new)}.")
        parts.takes_work.start(WORKING, [Asked(take, Measure(day.setup)) for take in new], day)
        parts.foot.show_task(WORKING, 0.0)

    def _fail(self, sentence: str) -> None:
        """A folder that is gone: said once, and no longer watched."""
        self._timer.stop()
        self.check_on(False)
        self._parts.messages.show_problem(sentence)

    def _forget(self) -> None:
        self._job = None
