"""Runs work on many takes off the desk's thread, and tells of each take as it is done."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

from lagline.day.asking import Asked, Deliver, Outcome
from lagline.day.pace import Pace
from lagline.day.values import Day
from lagline.desk.job import Job, Progress, Stopped

if TYPE_CHECKING:
    from lagline.day.papers import Papers


class TakesWork(QObject):
    """One piece of work at a time.

    Signals, on the desk's thread
    -----------------------------
    outcome(Outcome) : a take is done, or failed.
    progressed(float, str) : 0..1, and how many are done with the time left, in words.
    over(str) : it ended; a sentence where it ended badly.
    papers(Papers) : a delivery's sheet and report are written.
    """

    outcome = Signal(object)
    progressed = Signal(float, str)
    over = Signal(str)
    papers = Signal(object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._job: Job | None = None
        self.asked: tuple[Asked, ...] = ()  # last, to try again what failed

    @property
    def is_busy(self) -> bool:
        return self._job is not None

    def start(self, title: str, asked: Sequence[Asked], day: Day) -> None:
        """Do what is asked; after a delivery write the day's papers too."""
        if self._job is not None or not asked:
            return
        self.asked = tuple(asked)
        what = asked[0].what

        def work(_progress: Progress, cancelled: Stopped) -> Papers | None:
            from lagline.day.papers import write_papers  # these load the analysis
            from lagline.day.work import work_on

            now = day

            def tell(outcome: Outcome) -> None:
                nonlocal now
                now = now.with_take(outcome.take)
                self.outcome.emit(outcome)

            def show(pace: Pace) -> None:
                self.progressed.emit(pace.fraction, pace.words)

            workers = min(os.cpu_count() or 1, len(asked))
            work_on(asked, workers=workers, told=tell, progress=show, cancelled=cancelled)
            if not isinstance(what, Deliver) or cancelled():
                return None
            return write_papers(now, what.folder, overwrite=what.options.overwrite)

        job = self._job = Job(title, work, self)
        job.done.connect(self._done)
        job.failed.connect(self._failed)
        job.cancelled.connect(self._cancelled)
        job.finished.connect(self._forget)
        job.start()

    def stop(self) -> None:
        """What is done is kept; what is under way is given up."""
        if self._job is not None:
            self._job.cancel()

    def close(self) -> None:
        """Stop, and wait until it has."""
        if self._job is not None:
            self._job.cancel()
            self._job.wait()

    def _done(self, papers: Papers | None) -> None:
        if papers is not None:
            self.papers.emit(papers)
        self._end("")

    def _failed(self, sentence: str) -> None:
        self._end(sentence)

    def _cancelled(self) -> None:
        self._end("")

    def _end(self, sentence: str) -> None:
        self.over.emit(sentence)

    def _forget(self) -> None:
        self._job = None
        self.ended.emit()

    ended = Signal()  # the thread too
