"""One background thread for a panel's calculation: only the newest wish counts."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject, Signal

from lagline.errors import Cancelled, LaglineError

_log = logging.getLogger(__name__)

Stopped = Callable[[], bool]
Task = Callable[[Stopped], Any]
"""Takes `cancelled`, which it asks now and then; returns a frozen value. Touches no widget."""


class LatestTask(QObject):
    """Owns one thread, started with the first wish and ended by `close`.

    Signals, on the thread this object lives on: done(result), failed(sentence), busy_changed(bool).
    The result of a wish that a newer one replaced is dropped.
    """

    done = Signal(object)
    failed = Signal(str)
    busy_changed = Signal(bool)

    _ended = Signal(int, object, str)

    def __init__(self, name: str, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._name = name
        self._wake = threading.Condition()
        self._wish: tuple[int, Task] | None = None
        self._number = 0
        self._is_busy = False
        self._closing = False
        self._thread: threading.Thread | None = None
        self._ended.connect(self._tell)

    def ask(self, task: Task) -> None:
        """Run this next; stop what runs now."""
        with self._wake:
            if self._closing:
                return
            self._number += 1
            self._wish = (self._number, task)
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name=self._name, daemon=True)
                self._thread.start()
            self._wake.notify()
        self._say_busy(True)

    def cancel(self) -> None:
        """Drop the wish and what runs now; nothing is told of it."""
        with self._wake:
            self._number += 1
            self._wish = None
        self._say_busy(False)

    @property
    def is_busy(self) -> bool:
        """Whether a request is under way or waits."""
        return self._is_busy

    def close(self) -> None:
        """End the thread; waits for the running task to notice."""
        with self._wake:
            self._closing = True
            self._number += 1
            self._wish = None
            self._wake.notify()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def _work(self) -> None:
        while True:
            with self._wake:
                while self._wish is None and not self._closing:
                    self._wake.wait()
                if self._closing or self._wish is None:
                    return
                (number, task), self._wish = self._wish, None
            try:
                result, message = task(self._stopper(number)), ""
            except Cancelled:
                continue
            except (LaglineError, ValueError) as error:
                result, message = None, str(error)
            except Exception as error:  # noqa: BLE001 - a defect must not end the thread
                _log.exception("The background task %s failed", self._name)
                result, message = None, f"{self._name} failed ({type(error).__name__}: {error})."
            self._ended.emit(number, result, message)

    def _stopper(self, number: int) -> Callable[[], bool]:
        def cancelled() -> bool:
            return number != self._number

        return cancelled

    def _tell(self, number: int, result: object, message: str) -> None:
        if number != self._number:
            return
        self._say_busy(False)
        if message:
            self.failed.emit(message)
        else:
            self.done.emit(result)

    def _say_busy(self, busy: bool) -> None:
        if busy != self._is_busy:
            self._is_busy = busy
            self.busy_changed.emit(busy)
