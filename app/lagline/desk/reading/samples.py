"""Samples for close views, read in the background, the newest wish of each lane first."""

from __future__ import annotations

import threading
from collections.abc import Callable

from PySide6.QtCore import QObject, Signal

from lagline.desk.lanes.raster import FloatArray
from lagline.errors import LaglineError

Read = Callable[[int, int], FloatArray]


class SampleReader(QObject):
    """Owns one thread, started with the first wish."""

    read = Signal(str, int, object)  # lane id, first sample, float32 samples
    failed = Signal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._sources: dict[str, Read] = {}
        self._wishes: dict[str, tuple[int, int]] = {}
        self._under_way: dict[str, tuple[int, int]] = {}
        self._wake = threading.Condition()
        self._thread: threading.Thread | None = None
        self._closing = False
        self._broken: set[str] = set()

    def set_sources(self, sources: dict[str, Read]) -> None:
        """How to read each lane; wishes of lanes that are gone are dropped."""
        with self._wake:
            self._sources = dict(sources)
            self._wishes.clear()
            self._broken.clear()

    def set_source(self, lane_id: str, read: Read) -> None:
        with self._wake:
            self._sources[lane_id] = read
            self._under_way.pop(lane_id, None)

    def ask(self, lane_id: str, start: int, stop: int) -> None:
        """Wish for samples; `read` tells when they are there. An older wish of the lane is dropped."""
        with self._wake:
            if lane_id not in self._sources or self._under_way.get(lane_id) == (start, stop):
                return
            self._wishes[lane_id] = (start, stop)
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

    def _work(self) -> None:
        while True:
            with self._wake:
                while not self._wishes and not self._closing:
                    self._wake.wait()
                if self._closing:
                    return
                lane_id = next(iter(self._wishes))
                start, stop = self._wishes.pop(lane_id)
                self._under_way[lane_id] = (start, stop)
                read = self._sources.get(lane_id)
            if read is None:
                continue
            try:
                samples = read(start, stop)
            except LaglineError as error:
                if lane_id not in self._broken:
                    self._broken.add(lane_id)
                    self.failed.emit(str(error))
                continue
            with self._wake:
                is_wanted = self._sources.get(lane_id) is read
            if is_wanted:
                self.read.emit(lane_id, start, samples)
