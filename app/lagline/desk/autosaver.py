"""Keeps unsaved work on the disk while it changes, so that a crash costs seconds."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

from PySide6.QtCore import QObject, QTimer, Signal

from lagline.desk.store import SessionStore
from lagline.errors import LaglineError
from lagline.session.autosave import write_autosave
from lagline.session.values import Session

# At most 5 s of edits may be lost: 2 s until it is seen, the rest for a slow disk.
AUTOSAVE_MS = 2_000


class Autosaver(QObject):
    """Writes the session beside its file on a thread of its own, and takes it away again.

    A tick without a change compares two references. `would_lose` says whether there is anything to keep.
    """

    problem = Signal(str)  # told once a take: what may be lost after a crash, and why

    def __init__(self, store: SessionStore, would_lose: Callable[[], bool], parent: QObject) -> None:
        super().__init__(parent)
        self._store, self._would_lose = store, would_lose
        self._kept: Session | None = None
        self._files: set[Path] = set()
        self._writing: Future[Path] | None = None
        self._complained = False
        self._writer = ThreadPoolExecutor(1, thread_name_prefix="autosave")
        self._timer = QTimer(self)
        self._timer.setInterval(AUTOSAVE_MS)
        self._timer.timeout.connect(self.tick)
        self._timer.start()

    def tick(self) -> None:
        """Begin to write when something changed; never waits."""
        if self._writing is not None:
            if not self._writing.done():
                return
            self._take_result()
        session = self._store.session
        if session is None or session is self._kept:
            return
        if not self._would_lose():
            self.discard()  # all was undone: nothing must be offered at the next start
            return
        self._kept = session
        self._writing = self._writer.submit(write_autosave, session, self._store.path)

    def wait(self) -> None:
        """Until what was begun is on the disk."""
        if self._writing is not None:
            self._take_result()

    def adopt(self, autosave: Path) -> None:
        """Treat what a crash left, and was taken over, as our own: it goes when the work is saved."""
        self._files.add(autosave)

    def discard(self) -> None:
        """After a save, or when the changes are let go."""
        self.wait()
        for file in self._files:
            try:
                file.unlink(missing_ok=True)
            except OSError as error:
                self.problem.emit(f"{file} could not be removed ({error.strerror}). Delete it by hand.")
        self._files.clear()
        self._kept = None

    def start_over(self) -> None:
        """Another take comes onto the desk. What would be lost of this one stays on the disk."""
        if not self._would_lose():
            self.discard()
        self.wait()
        self._kept, self._complained = None, False
        self._files.clear()

    def close(self) -> None:
        self._timer.stop()
        self.wait()
        self._writer.shutdown()

    def _take_result(self) -> None:
        writing, self._writing = self._writing, None
        if writing is None:
            return
        try:
            self._files.add(writing.result())
        except (LaglineError, OSError) as error:
            self._kept = None  # tried again at the next tick
            if not self._complained:
                self._complained = True
                self.problem.emit(f"Changes are not kept for after a crash: {error} Save the session often.")
