"""Keeps unsaved work on the disk while it changes, so that a crash costs seconds."""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

from PySide6.QtCore import QObject, QTimer, Signal

from lagline.desk.store import SessionStore
from lagline.errors import LaglineError
from lagline.session.autosave import sign, write_autosave
from lagline.session.owner import SIGN_S
from lagline.session.values import Session

# At most 2 s of edits may be lost: half a second until it is seen, the rest for a slow disk.
AUTOSAVE_MS = 500


class Autosaver(QObject):
    """Writes the session beside its file on a thread of its own, and takes it away again.

    A tick without a change compares two references. `would_lose` says whether there is anything to keep;
    what is saved is kept too as long as there is something to undo. `known` gives the stamp of the file that
    the work began with.
    """

    problem = Signal(str)  # told once a take: what may be lost after a crash, and why

    def __init__(
        self,
        store: SessionStore,
        would_lose: Callable[[], bool],
        known: Callable[[], str | None],
        parent: QObject,
    ) -> None:
        super().__init__(parent)
        self._store, self._would_lose, self._known = store, would_lose, known
        self._kept: Session | None = None
        self._files: set[Path] = set()
        self._writing: Future[Path] | None = None
        self._signed_s = 0.0
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
            self._sign()
            return
        history = self._store.history
        if not self._would_lose() and (self._store.path is None or history is None or not history.names):
            self.discard()  # all was undone: nothing must be offered at the next start
            return
        self._kept = session
        self._writing = self._writer.submit(write_autosave, session, self._store.path, history, self._known())

    def _sign(self) -> None:
        """Nothing is new, but others must see that whoever keeps these files is there."""
        if self._files and time.monotonic() - self._signed_s > SIGN_S:
            self._signed_s = time.monotonic()
            self._writer.submit(sign, tuple(self._files))

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
        self._remove(self._files)
        self._files = set()
        self._kept = None

    def _remove(self, files: set[Path]) -> None:
        for file in files:
            try:
                file.unlink(missing_ok=True)
            except OSError as error:
                self.problem.emit(f"{file} could not be removed ({error.strerror}). Delete it by hand.")

    def start_over(self) -> None:
        """Another take comes onto the desk. What would be lost of this one stays on the disk."""
        if not self._would_lose():
            self.discard()
        self.wait()
        self._kept, self._complained = None, False
        self._files = set()

    def move(self) -> None:
        """The session's file is another now: keep the work where it belongs, at once."""
        self.wait()
        self._kept = None
        self.tick()

    def close(self) -> None:
        """Stop, after what is being written is written."""
        self._timer.stop()
        self.wait()
        self._writer.shutdown()

    def _take_result(self) -> None:
        writing, self._writing = self._writing, None
        if writing is None:
            return
        try:
            file = writing.result()
        except (LaglineError, OSError) as error:
            self._kept = None  # tried again at the next tick
            if not self._complained:
                self._complained = True
                self.problem.emit(f"Changes can't be kept safe from a crash: {error} Save the session often.")
        else:
            self._remove(
                self._files - {file}
            )  # what a crash left, or lay elsewhere: all of it is in this one
            self._files = {file}
