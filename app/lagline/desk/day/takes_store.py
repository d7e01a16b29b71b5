"""The day on the desk: its list, its file, and what differs in each take, off the desk's thread."""

from __future__ import annotations

import logging
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from pathlib import Path

from PySide6.QtCore import QObject, QTimer, Signal

from lagline.day.document import save_day
from lagline.day.values import Day, DayTake
from lagline.desk.day.takes_model import Found
from lagline.desk.panels.latest import LatestTask, Stopped
from lagline.errors import Cancelled, LaglineError
from lagline.session.storage import stamp

SAVE_MS = 2_000  # what changes within this time is saved together
COMPARE_MS = 250
_log = logging.getLogger(__name__)


class TakesStore(QObject):
    """The one mutable list. Its file is written by a thread of its own, after every change.

    Signals
    -------
    changed(Day | None) : another list, or another state of some takes.
    compared(Found) : what differs in each take.
    problem(str) : the list could not be saved.
    """

    changed = Signal(object)
    compared = Signal(object)
    problem = Signal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._day: Day | None = None
        self._path: Path | None = None
        self._stamp: str | None = None
        self._saver = ThreadPoolExecutor(1, thread_name_prefix="takes list")
        self._saving: Future[str] | None = None
        self._saved: Day | None = None  # what the file holds, or will
        self._has_failed = False
        self._save = QTimer(self)
        self._save.setInterval(SAVE_MS)
        self._save.timeout.connect(self._save_now)
        self._compare = QTimer(self)
        self._compare.setSingleShot(True)
        self._compare.setInterval(COMPARE_MS)
        self._compare.timeout.connect(self._compare_now)
        self._comparing = LatestTask("what differs", self)
        self._comparing.done.connect(self.compared)
        self._comparing.failed.connect(self.problem)

    @property
    def day(self) -> Day | None:
        return self._day

    @property
    def path(self) -> Path | None:
        """Where the list is kept."""
        return self._path

    def open(self, day: Day, path: Path, known: str | None) -> None:
        """Begin with a list. `known`: the stamp of its file as it was read; None where there is none."""
        self.settle()
        if path != self._path or stamp(path) != self._stamp:  # else it was saved here since it was read
            self._stamp = known
        self._path, self._has_failed = path, False
        self.change(day)

    def change(self, day: Day) -> None:
        """Make this the list; it is saved a little later."""
        self._day = day
        self.changed.emit(day)
        if not self._compare.isActive():
            self._compare.start()
        if not self._save.isActive():
            self._save.start()

    def change_take(self, take: DayTake) -> None:
        """One line changed. One that has left the list is let go, and so is one of other recordings."""
        old = self._day.take(take.name) if self._day is not None else None
        if self._day is not None and old is not None and old.paths == take.paths:
            self.change(self._day.with_take(take))

    def settle(self) -> None:
        """Have what is to be saved on the disk, as far as it can be."""
        while self._save.isActive():
            self._save_now(wait=True)

    def close(self) -> None:
        """Save, and end the threads."""
        self.settle()
        self._compare.stop()
        self._comparing.close()
        self._saver.shutdown()

    def _save_now(self, *, wait: bool = False) -> None:
        if self._saving is not None:
            if not self._saving.done() and not wait:
                return
            saving, self._saving = self._saving, None
            self._take_saved(saving)
        if self._day is None or self._path is None or self._day is self._saved or self._has_failed:
            self._save.stop()
            return
        self._saving = self._saver.submit(save_day, self._day, self._path, known=self._stamp)
        self._saved = self._day

    def _take_saved(self, saving: Future[str]) -> None:
        try:
            self._stamp = saving.result()
        except (LaglineError, ValueError) as error:
            self._has_failed = True  # said once: nobody's list is written over, and nobody is asked for ever
            self.problem.emit(f"The list of takes is not saved: {error}")

    def _compare_now(self) -> None:
        if self._day is not None:
            self._comparing.ask(partial(_found, self._day))


def _found(day: Day, cancelled: Stopped) -> Found:
    from lagline.day.against import differences, held_against  # loads the analysis

    held = held_against(day)
    found = {}
    for take in day.takes:
        if cancelled():
            raise Cancelled
        found[take.name] = None if held is None else differences(take, held)
    return found
