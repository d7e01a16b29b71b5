"""A plain function off the desk's thread, with progress and cancel."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject, QThread, Signal, SignalInstance

from lagline.errors import Cancelled, LaglineError

_log = logging.getLogger(__name__)

Progress = Callable[[float], None]
Stopped = Callable[[], bool]


class Job(QThread):
    """Calls `work(progress, cancelled)` once, on a thread of its own.

    Exactly one of `done`, `failed` and `cancelled` is told, on the thread that made the job. The work
    touches no widget and no session store. Whoever made the job keeps it until `finished`, and lets go of
    it then: nothing else deletes it, for there is no telling when another's slot has run.
    """

    progressed = Signal(float)  # 0..1
    done = Signal(object)  # what the work returned
    failed = Signal(str)  # a sentence
    cancelled = Signal()

    def __init__(
        self,
        title: str,
        work: Callable[[Progress, Stopped], Any],
        parent: QObject | None = None,
        *,
        drops_when_stopped: bool = False,
    ) -> None:
        """`drops_when_stopped`: for work that never looks whether it should stop; its result or failure
        is dropped."""
        super().__init__(parent)
        self._drops = drops_when_stopped
        self.title = title
        self._work = work
        self._stop = threading.Event()

    def cancel(self) -> None:
        """Ask the work to stop; it ends when it next looks."""
        self._stop.set()

    def run(self) -> None:
        """Do the work; a signal tells how it ended."""
        try:
            result = self._work(self.progressed.emit, self._stop.is_set)
        except Cancelled:
            self.cancelled.emit()
        except LaglineError as error:
            self._tell(self.failed, str(error))
        except Exception as error:  # noqa: BLE001 - a defect is shown as a sentence; the desk goes on
            _log.exception("%s failed", self.title)
            sentence = f"{self.title} failed ({type(error).__name__}: {error}). Nothing was changed."
            self._tell(self.failed, sentence)
        else:
            self._tell(self.done, result)

    def _tell(self, signal: SignalInstance, outcome: object) -> None:
        """How it ended, good or bad; nobody waits for what was given up."""
        if self._drops and self._stop.is_set():
            self.cancelled.emit()
        else:
            signal.emit(outcome)
