"""Overviews of all recordings of a session, built in the background and told as they grow."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from PySide6.QtCore import QObject, Signal

from lagline.desk.reading.preview import Preview, Sketch, preview
from lagline.errors import Cancelled, LaglineError
from lagline.media.overview import FileOverview, Overview, build_overviews, is_cached
from lagline.session.values import Session

_log = logging.getLogger(__name__)

THREADS = 2  # reading and decoding scale to about 1.9 with two


class OverviewReader(QObject):
    """Owns two threads. Signals arrive on the thread this object lives on."""

    grown = Signal(str, object)  # lane id, Overview or Sketch at the session's rate
    finished = Signal(object)  # path -> FileOverview of everything that could be read
    failed = Signal(str)  # a sentence about one recording

    _sketched = Signal(int, object, object)  # round, path, Preview of its channels
    _grew = Signal(int, object, object)  # round, path, overviews of its channels
    _ended = Signal(int, object, object)  # round, path, FileOverview or the error

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session: Session | None = None
        self._pool: ThreadPoolExecutor | None = None
        self._stop = threading.Event()
        self._round = 0
        self._known: dict[Path, FileOverview] = {}
        self._waiting: set[Path] = set()
        self._failed: set[Path] = set()
        self._previews: dict[Path, tuple[Preview, ...]] = {}
        self._sketched.connect(self._put_sketch)
        self._grew.connect(self._pass_on)
        self._ended.connect(self._settle)

    @property
    def files(self) -> dict[Path, FileOverview]:
        """What has been read to the end, with the health of each channel."""
        return dict(self._known)

    @property
    def is_busy(self) -> bool:
        return bool(self._waiting)

    @property
    def fraction(self) -> float:
        """How many of the recordings of this session have been read, 0..1."""
        return len(self._known) / max(len(self._known) + len(self._waiting), 1)

    def show_session(self, session: Session | None) -> None:
        """Read the recordings of a session that are not known yet; forget the others."""
        self._session = session
        wanted = {lane.source.path for lane in session.lanes} if session else set()
        if not wanted & (self._waiting | set(self._known)):
            self.cancel()
            self._known.clear()
            self._failed.clear()
        new = wanted - self._waiting - set(self._known) - self._failed
        for path in wanted & set(self._known):
            self._tell(path, self._known[path].overviews)
        if not new:
            return
        if self._pool is None:
            self._pool = ThreadPoolExecutor(THREADS, thread_name_prefix="overviews")
        self._waiting |= new
        order = [lane.source.path for lane in session.lanes] if session else []
        for path in dict.fromkeys(order):
            if path in new:
                self._pool.submit(self._sketch, self._round, path, self._stop.is_set)
        for path in dict.fromkeys(order):
            if path in new:
                self._pool.submit(self._read, self._round, path, self._stop.is_set)

    def follow(self, session: Session) -> None:
        """The same recordings under an edited session."""
        self._session = session

    def cancel(self) -> None:
        """Stop reading; what was under way is dropped."""
        self._stop.set()
        self._stop = threading.Event()
        self._round += 1
        self._waiting.clear()
        self._previews.clear()

    def close(self) -> None:
        self.cancel()
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)
            self._pool = None

    def _sketch(self, number: int, path: Path, stopped: Callable[[], bool]) -> None:
        """On a reading thread: every lane is drawn roughly before the first is read."""
        if stopped() or is_cached(path):
            return
        try:
            self._sketched.emit(number, path, preview(path))
        except Exception:  # noqa: BLE001 - it is drawn once it is read
            _log.exception("The sketch of %s failed", path.name)

    def _put_sketch(self, number: int, path: Path, previews: tuple[Preview, ...]) -> None:
        if number == self._round and path in self._waiting and previews:
            self._previews[path] = previews
            self._tell(path, (None,) * len(previews))

    def _read(self, number: int, path: Path, stopped: Callable[[], bool]) -> None:
        """On a reading thread."""

        def progress(fraction: float, overviews: tuple[Overview, ...]) -> None:
            self._grew.emit(number, path, overviews)

        try:
            result: FileOverview | LaglineError = build_overviews(path, progress=progress, cancelled=stopped)
        except LaglineError as error:
            result = error
        except Exception as error:  # noqa: BLE001 - a defect of one recording must not hold up the rest
            _log.exception("The overview of %s failed", path.name)
            result = LaglineError(f"Reading {path.name} failed ({type(error).__name__}: {error}).")
        self._ended.emit(number, path, result)

    def _pass_on(self, number: int, path: Path, overviews: tuple[Overview, ...]) -> None:
        if number == self._round:
            self._tell(path, overviews)

    def _settle(self, number: int, path: Path, result: FileOverview | LaglineError) -> None:
        if number != self._round:
            return
        self._waiting.discard(path)
        self._previews.pop(path, None)
        if isinstance(result, FileOverview):
            self._known[path] = result
            self._tell(path, result.overviews)
        elif not isinstance(result, Cancelled):
            self._failed.add(path)
            self.failed.emit(str(result))
        if not self._waiting:
            self.finished.emit(self.files)

    def _tell(self, path: Path, overviews: Sequence[Overview | None]) -> None:
        if self._session is None:
            return
        rate_hz = self._session.rate_hz
        rough = self._previews.get(path)
        for lane in self._session.lanes:
            channel, own_hz = lane.source.channel, lane.source.rate_hz
            if lane.source.path != path or channel >= len(overviews):
                continue
            overview = overviews[channel]
            exact = overview.at_rate(own_hz, rate_hz) if overview else None
            if rough is not None and channel < len(rough):
                self.grown.emit(lane.id, Sketch(rough[channel].at_rate(own_hz, rate_hz), exact))
            elif exact is not None:
                self.grown.emit(lane.id, exact)
