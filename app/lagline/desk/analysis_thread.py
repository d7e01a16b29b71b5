"""Measuring in the background: owns the analysis process and turns what it says into signals."""

from __future__ import annotations

import logging
import multiprocessing
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess

from PySide6.QtCore import QObject, QThread, QTimer, Signal

from lagline.analysis.options import AnalysisOptions
from lagline.desk.analysis_worker import Failed, Measured, Order, Progress, Ready, Said, serve
from lagline.session.findings import Alignment
from lagline.session.values import Session

_log = logging.getLogger(__name__)

CANCEL_WITHIN_MS = 3000  # for a cancelled measurement to stop by itself


class _Listener(QThread):
    """Waits for what the process says, so that nobody else has to."""

    said = Signal(object)
    ended = Signal()

    def __init__(self, pipe: Connection, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._pipe = pipe

    def run(self) -> None:
        while True:
            try:
                self.said.emit(self._pipe.recv())
            except (EOFError, OSError):
                self.ended.emit()
                return


class AnalysisThread(QObject):
    """One measurement at a time. To the desk this is one background thread that proposes and reports."""

    progressed = Signal(float)  # 0..1
    finished = Signal(object)  # Alignment
    failed = Signal(str)  # a sentence
    cancelled = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._context = multiprocessing.get_context("spawn")
        self._stop = self._context.Event()
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None
        self._listener: _Listener | None = None
        self._number = 0
        self._is_busy = False
        self._impatience = QTimer(self)
        self._impatience.setSingleShot(True)
        self._impatience.setInterval(CANCEL_WITHIN_MS)
        self._impatience.timeout.connect(self._end_process)

    @property
    def is_busy(self) -> bool:
        """Whether a measurement is under way."""
        return self._is_busy

    def warm_up(self) -> None:
        """Start the process before it is needed: loading takes it about a second."""
        if self._process is None:
            self._start_process()

    def measure(self, session: Session, options: AnalysisOptions | None = None) -> None:
        """Measure a take; one that is running, or was cancelled and has not stopped yet, is ended."""
        if self._is_busy or self._impatience.isActive():
            self._end_process()
        self.warm_up()
        self._stop.clear()
        self._number += 1
        self._is_busy = True
        if self._pipe is not None:
            self._pipe.send(Order(self._number, session, options or AnalysisOptions()))

    def cancel(self) -> None:
        """Stop measuring; `cancelled` is told at once, and nothing else about it after that."""
        if not self._is_busy:
            return
        self._is_busy = False
        self._stop.set()
        self._number += 1
        self._impatience.start()
        self.cancelled.emit()

    def close(self) -> None:
        """End the worker process; what is under way is lost."""
        self._is_busy = False
        self._end_process()

    def _start_process(self) -> None:
        ours, theirs = self._context.Pipe()
        self._process = self._context.Process(
            target=serve, args=(theirs, self._stop), name="lagline-analysis", daemon=True
        )
        self._process.start()
        theirs.close()
        self._pipe = ours
        self._listener = _Listener(ours, self)
        self._listener.said.connect(self._hear)
        self._listener.ended.connect(self._miss)
        self._listener.start()

    def _end_process(self) -> None:
        self._impatience.stop()
        process, pipe, listener = self._process, self._pipe, self._listener
        self._process = self._pipe = self._listener = None
        if process is not None:
            process.terminate()
            process.join()
        if listener is not None:
            listener.said.disconnect(self._hear)
            listener.ended.disconnect(self._miss)
            listener.wait()
            listener.deleteLater()
        if pipe is not None:
            pipe.close()

    def _hear(self, said: Said) -> None:
        if isinstance(said, Ready):
            return
        if not isinstance(said, Progress):
            self._impatience.stop()
        if said.number != self._number:
            return
        if isinstance(said, Progress):
            self.progressed.emit(said.fraction)
            return
        self._is_busy = False
        if isinstance(said, Measured):
            alignment: Alignment = said.alignment
            self.finished.emit(alignment)
        elif isinstance(said, Failed):
            if said.trace:
                _log.error("Measuring failed\n%s", said.trace)
            self.failed.emit(said.sentence)

    def _miss(self) -> None:
        """The process is gone although nobody ended it."""
        if self._listener is None or self.sender() is not self._listener:
            return  # one that we ended ourselves
        was_busy, self._is_busy = self._is_busy, False
        self._end_process()
        _log.error("The analysis process ended by itself%s", " while measuring" if was_busy else "")
        if was_busy:
            self.failed.emit("Measuring stopped unexpectedly; nothing was changed. Press Measure again.")
