"""Defects of ours that nobody caught: into the log, a sentence to the person, and the desk goes on."""

from __future__ import annotations

import logging
import sys
import threading
from types import TracebackType

from PySide6.QtCore import QObject, Signal

from lagline.log import keep_log, stop_log

_log = logging.getLogger(__name__)


class Faults(QObject):
    """While installed, hears of every exception that would only have been printed, on any thread."""

    told = Signal(str)  # a sentence to show

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._before = sys.excepthook, threading.excepthook

    def install(self) -> None:
        """Begin the log, and catch what nobody else catches."""
        try:
            keep_log("desk")
        except OSError as error:  # a desk without a log is still a desk
            print(f"lagline: no log is kept ({error}).", file=sys.stderr)
        self._before = sys.excepthook, threading.excepthook
        sys.excepthook = self._hear
        threading.excepthook = self._hear_thread

    def remove(self) -> None:
        """Undo `install`."""
        sys.excepthook, threading.excepthook = self._before
        stop_log()

    def _hear(
        self, kind: type[BaseException], error: BaseException, trace: TracebackType | None, where: str = ""
    ) -> None:
        if issubclass(kind, KeyboardInterrupt):
            self._before[0](kind, error, trace)
            return
        _log.error("Not caught%s", where, exc_info=(kind, error, trace))
        self.told.emit(
            f"Something went wrong inside Lagline ({kind.__name__}: {error}). Your take is as it was; "
            "save it under a new name to be safe. “Copy details” takes what helps to mend it."
        )

    def _hear_thread(self, heard: threading.ExceptHookArgs) -> None:
        if heard.exc_value is not None and not issubclass(heard.exc_type, SystemExit):
            name = f" on the thread {heard.thread.name}" if heard.thread else ""
            self._hear(heard.exc_type, heard.exc_value, heard.exc_traceback, name)
