"""The sum of the lanes as it would be heard, reduced to what can be drawn, in the background."""

from __future__ import annotations

import logging
import math
import operator
import threading
import time
from collections.abc import Iterator, Mapping

import numpy as np
from msgspec import Struct
from PySide6.QtCore import QObject, QTimer, Signal

from lagline.blend.mix import ClipLike, render_versions
from lagline.desk.lanes.raster import FloatArray
from lagline.errors import LaglineError
from lagline.media.extremes import bin_extremes
from lagline.media.pyramid import Overview
from lagline.session.values import Session, Version

_log = logging.getLogger(__name__)

BIN = 256  # samples
TILE = 1 << 15  # samples rendered at a time: 128 bins
SETTLE_MS = 120  # an edit is rendered once the hand rests
TELL_S = 0.1  # between two redraws while it grows
STILL_S = 0.05  # a view that has not moved for so long has come to rest
GIVE_WAY_S = 0.3  # between two tiles while it moves: drawing the lanes goes first
FOLD = 1 / math.sqrt(2.0)  # left + right of a centred lane at its own level


def folded(stereo: FloatArray) -> FloatArray:
    """Left and right together, where cancellation cannot hide: shape (frames, 2) -> (frames,)."""
    mono: FloatArray = (stereo[:, 0] + stereo[:, 1]) * np.float32(FOLD)
    return mono


class SumBins:
    """Lowest and highest sample per bin, filled tile by tile in any order. A `ColumnSource`."""

    def __init__(self, frames: int) -> None:
        self.tiles = max(-(-frames // TILE), 1)
        self._overview = Overview(self.tiles * TILE, BIN)
        self.lows, self.highs = self._overview.bins

    def put(self, tile: int, samples: FloatArray) -> None:
        self._overview.put(tile * (TILE // BIN), *bin_extremes(samples, BIN))

    def columns(self, first: float, stop: float, count: int) -> tuple[FloatArray, FloatArray]:
        return self._overview.columns(first, stop, count)


class SumTask(Struct, frozen=True):
    """One state of the blend to be rendered."""

    session: Session
    versions: tuple[Version, ...]
    clips: Mapping[str, ClipLike]
    start: int
    frames: int
    bins: tuple[SumBins, ...]  # filled by the thread, drawn by the desk


def what_sounds(session: Session, version: Version) -> tuple[object, ...]:
    """Everything the sum of a version depends on: equal when it would sound the same."""
    return tuple(
        (lane.id, lane.source, lane.place_samples, version.balance(lane.id), version.move(lane.id))
        for lane in session.audible_lanes(version)
    )


def tile_order(first: int, last: int) -> Iterator[int]:
    """Tiles first..last: every sixteenth first, so that a wide view takes shape at once."""
    for offset in (0, 8, 4, 12, 2, 6, 10, 14, 1, 3, 5, 7, 9, 11, 13, 15):
        yield from range(first + offset, last + 1, 16)


class SumReader(QObject):
    """Owns one thread. Renders what is in view first; starts over when the blend changes."""

    started = Signal(object)  # SumTask whose bins begin to fill: draw these from now on
    grown = Signal()
    failed = Signal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._task: SumTask | None = None
        self._next: tuple[Session, tuple[Version, ...], Mapping[str, ClipLike]] | None = None
        self._blend: tuple[object, ...] = ()  # what was shown last
        self._sounds: tuple[object, ...] = ()  # of the task
        self._seen = (0.0, 0.0)
        self._done = np.zeros(0, np.bool_)  # tiles of the task
        self._is_stale = False  # the blend has changed: the task is not worth going on with
        self._moved = 0.0  # when the view last did
        self._round = 0
        self._wake = threading.Condition()
        self._thread: threading.Thread | None = None
        self._closing = False
        self._is_held = False
        self._rest = QTimer(self)
        self._rest.setSingleShot(True)
        self._rest.setInterval(SETTLE_MS)
        self._rest.timeout.connect(self._begin)

    def show(
        self, session: Session | None, versions: tuple[Version, ...], clips: Mapping[str, ClipLike]
    ) -> None:
        """Render these versions of the session, soon. The same blend again changes nothing."""
        if session is None:
            self._next, self._blend, self._sounds = None, (), ()
            self._set_task(None)
            return
        blend = (session.lanes, *clips.values())
        for version in versions:
            blend += (version.id, version.moves, version.balances)
        if len(blend) == len(self._blend) and all(map(operator.is_, blend, self._blend)):  # no deep looks
            return
        # Whether it sounds different is looked at once the hand rests: a drag asks at every step.
        self._blend = blend
        self._next = (session, versions, clips)
        with self._wake:
            self._is_stale = True
        self._rest.start()

    def see(self, first: float, last: float) -> None:
        """What is in view, in session samples."""
        if (first, last) == self._seen:
            return
        with self._wake:
            self._seen, self._moved = (first, last), time.monotonic()
            if self._wanted() is not None:  # waking the thread for nothing costs a drawn frame a millisecond
                self._wake.notify()

    @property
    def is_busy(self) -> bool:
        """Whether something in view is not rendered yet."""
        with self._wake:
            return self._rest.isActive() or self._wanted() is not None

    def hold(self, waits: bool) -> None:
        """Wait with rendering while more urgent reading goes on."""
        with self._wake:
            self._is_held = waits
            self._wake.notify()

    def close(self) -> None:
        self._rest.stop()
        with self._wake:
            self._closing = True
            self._wake.notify()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def _begin(self) -> None:
        if self._next is None:
            return
        session, versions, clips = self._next
        start, stop = session.span(*versions)
        sounds = (
            start,
            stop,
            *((version.id, what_sounds(session, version)) for version in versions),
            *map(id, clips.values()),
        )
        if sounds == self._sounds and self._task is not None:
            with self._wake:
                self._is_stale = False
                self._wake.notify()
            return
        self._sounds = sounds
        bins = tuple(SumBins(stop - start) for _ in versions)
        task = SumTask(session, versions, clips, start, stop - start, bins)
        self._set_task(task)
        self.started.emit(task)

    def _set_task(self, task: SumTask | None) -> None:
        with self._wake:
            self._task = task
            self._round += 1
            self._done = np.zeros(task.bins[0].tiles if task is not None else 0, np.bool_)
            self._is_stale = False
            if self._thread is None and task is not None and not self._closing:
                self._thread = threading.Thread(target=self._work, name="sum", daemon=True)
                self._thread.start()
            self._wake.notify()

    def _wanted(self) -> tuple[int, SumTask, int] | None:
        """The next tile to render, under the lock; None when everything in view is there."""
        task = self._task
        if task is None or self._is_held or self._is_stale:
            return None
        first, last = (math.floor((at - task.start) / TILE) for at in self._seen)
        first, last = max(first, 0), min(last, len(self._done) - 1)
        if last < first or self._done[first : last + 1].all():  # asked at every frame, and mostly so
            return None
        return self._round, task, next(tile for tile in tile_order(first, last) if not self._done[tile])

    def _give_way(self) -> None:
        """Under the lock, before a tile: wait a moment while the view moves."""
        longest = time.monotonic() + GIVE_WAY_S
        while not self._closing:
            left = min(longest, self._moved + STILL_S) - time.monotonic()
            if left <= 0:
                return
            self._wake.wait(left)

    def _give_up(self, number: int, error: Exception) -> None:
        """A tile failed; no word of one that nobody waits for any more."""
        if not isinstance(error, LaglineError | ValueError):
            _log.error("The sum failed", exc_info=error)
        with self._wake:
            if number != self._round:
                return
            self._task = None
        self.failed.emit(str(error))

    def _work(self) -> None:
        told = 0.0
        while True:
            with self._wake:
                while self._wanted() is None and not self._closing:
                    if told:
                        self.grown.emit()
                        told = 0.0
                    self._wake.wait()
                self._give_way()
                if self._closing:
                    return
                wanted = self._wanted()
            if wanted is None:  # while the view moved
                continue
            number, task, tile = wanted
            try:
                at = task.start + tile * TILE
                sums = render_versions(task.session, task.versions, task.clips, at, TILE)
            except Exception as error:  # noqa: BLE001 - the sums of later edits must not be lost with this one
                self._give_up(number, error)
                continue
            for bins, stereo in zip(task.bins, sums, strict=True):
                bins.put(tile, folded(stereo))
            with self._wake:
                if number == self._round:
                    self._done[tile] = True
            now = time.monotonic()
            if now - told > TELL_S:
                told = now
                self.grown.emit()
