"""Samples for close views, read in the background, the newest wishes of each lane first."""

from __future__ import annotations

import threading
from collections.abc import Callable

from PySide6.QtCore import QObject, Signal

from lagline.desk.lanes.raster import FloatArray
from lagline.errors import LaglineError

MOST_WISHES = 2  # a lane: where its wave is and, a shift apart, where its ghost is
Read = Callable[[int, int], FloatArray]


class SampleReader(QObject):
    """Owns one thread, started with the first wish."""

    read = Signal(str, int, object)  # lane id, first sample, float32 samples
    failed = Signal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._sources: dict[str, Read] = {}
        self._wishes: dict[str, list[tuple[int, int]]] = {}  # newest last
        self._under_way: dict[str, set[tuple[int, int]]] = {}  # until they are handed over
        self._wake = threading.Condition()
        self._thread: threading.Thread | None = None
        self._closing = False
        self._broken: set[str] = set()
        self.read.connect(self._handed_over)

    def set_sources(self, sources: dict[str, Read]) -> None:
        """How to read each lane; wishes of lanes that are gone are dropped."""
        with self._wake:
            self._sources = dict(sources)
            self._wishes.clear()
            self._under_way.clear()
            self._broken.clear()

    def set_source(self, lane_id: str, read: Read) -> None:
        with self._wake:
            self._sources[lane_id] = read
            self._under_way.pop(lane_id, None)

    def ask(self, lane_id: str, start: int, stop: int) -> None:
        """Wish for samples; `read` tells when they are there. All but the newest of a lane are dropped."""
        wish = start, stop
        with self._wake:
            if lane_id not in self._sources or wish in self._under_way.get(lane_id, ()):
                return
            older = [one for one in self._wishes.get(lane_id, ()) if one != wish]
            self._wishes[lane_id] = [*older, wish][-MOST_WISHES:]
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name="samples", daemon=True)
                self._thread.start()
            self._wake.notify()

    def close(self) -> None:
        with self._wake:
            self._closing = True
            self._wake.notify()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def _handed_over(self, lane_id: str, start: int, samples: FloatArray) -> None:
        """On the desk's thread: from now on the same may be wished for again."""
        self._no_longer_under_way(lane_id, (start, start + len(samples)))

    def _no_longer_under_way(self, lane_id: str, wish: tuple[int, int]) -> None:
        with self._wake:
            self._under_way.get(lane_id, set()).discard(wish)

    def _work(self) -> None:
        while True:
            with self._wake:
                while not self._wishes and not self._closing:
                    self._wake.wait()
                if self._closing:
                    return
                lane_id = next(iter(self._wishes))
                *older, (start, stop) = self._wishes.pop(lane_id)
                if older:  # behind the other lanes
                    self._wishes[lane_id] = older
                self._under_way.setdefault(lane_id, set()).add((start, stop))
                read = self._sources.get(lane_id)
            if read is None:
                continue
            try:
                samples = read(start, stop)
            except LaglineError as error:
                self._no_longer_under_way(lane_id, (start, stop))
                if lane_id not in self._broken:
                    self._broken.add(lane_id)
                    self.failed.emit(str(error))
                continue
            with self._wake:
                is_wanted = self._sources.get(lane_id) is read
            if is_wanted:
                self.read.emit(lane_id, start, samples)
