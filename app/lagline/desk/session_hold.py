"""The desk's hold on the file of its session: the lock, and what the file was when last read or written."""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path

from PySide6.QtCore import QObject, QTimer, Signal

from lagline.session.lock import Lock
from lagline.session.owner import Owner

SIGN_MS = 1_000  # how soon it is noticed that somebody has taken over


class HeldFile:
    """A session file that is ours to write; `stamp` is what it is known to hold."""

    def __init__(self, lock: Lock, stamp: str) -> None:
        self.lock, self.stamp = lock, stamp

    @property
    def path(self) -> Path:
        return self.lock.session_path


class SessionHold(QObject):
    """Gives signs of life on a thread of its own: a disk that stalls must not stall the desk."""

    lost = Signal(object)  # the Owner who has taken over

    def __init__(self, parent: QObject) -> None:
        super().__init__(parent)
        self._file: HeldFile | None = None
        self._signing: Future[Owner | None] | None = None
        self._signer = ThreadPoolExecutor(1, thread_name_prefix="lock")
        self._timer = QTimer(self)
        self._timer.setInterval(SIGN_MS)
        self._timer.timeout.connect(self.tick)
        self._timer.start()

    @property
    def file(self) -> HeldFile | None:
        return self._file

    @property
    def stamp(self) -> str | None:
        """What the file is known to hold; None while none is held."""
        return self._file.stamp if self._file is not None else None

    def change(self, file: HeldFile | None) -> None:
        """Hold this file from now on; let others write the one that was held."""
        old, self._file = self._file, file
        if old is None or (file is not None and old.path == file.path):
            return
        if self._signing is not None:
            with suppress(OSError):
                self._signing.result()  # a sign given later would make the lock again
            self._signing = None
        old.lock.release()

    def tick(self) -> None:
        """Look who holds the lock; never waits."""
        if self._file is None or (self._signing is not None and not self._signing.done()):
            return
        taken = self._signing.result() if self._signing is not None else None
        self._signing = None
        if taken is not None:
            self.lost.emit(taken)
        else:
            self._signing = self._signer.submit(self._file.lock.sign)

    def close(self) -> None:
        self._timer.stop()
        self.change(None)
        self._signer.shutdown()
