"""Where what is drawn comes from: joins the reading threads, the clips and the lanes' data."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QElapsedTimer, QObject, QTimer, Signal

from lagline.blend.clips import open_clips
from lagline.blend.mix import blend
from lagline.desk.lanes.raster import FloatArray
from lagline.desk.lanes.sum_row import sum_id
from lagline.desk.lanes.wave_data import ColumnSource, WaveData
from lagline.desk.reading.overviews import OverviewReader
from lagline.desk.reading.samples import SampleReader
from lagline.desk.reading.sums import SumReader, SumTask, folded
from lagline.desk.timeview import TimeViewModel
from lagline.desk.transport_state import TransportState
from lagline.media.clip import Clip
from lagline.session.values import Session, Version

GROW_MS = 100  # drawing more often than this while recordings are read would only slow the reading
FIRST_MS = 30  # between the first drawings of several lanes


class Sounds(QObject):
    """Owns the reading threads of one window."""

    overviews_grown = Signal(object)  # ids of lanes, in a tuple
    overviews_done = Signal(object)  # path -> FileOverview
    samples_read = Signal(str)  # lane id, or a sum's
    sums_started = Signal(int, int)  # where they begin, session sample, and how long they are
    sums_grown = Signal()
    failed = Signal(str)

    def __init__(self, times: TimeViewModel, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._times = times
        self._session: Session | None = None
        self._heard_id: str | None = None
        self._sources: dict[str, object] = {}
        self.clips: dict[str, Clip] = {}
        self.overviews = OverviewReader(self)
        self._samples = SampleReader(self)
        self._sums = SumReader(self)
        self.data = WaveData(self._samples.ask)
        self._grown: dict[str, None] = {}  # not told yet
        self._grow = QTimer(self)
        self._grow.setSingleShot(True)
        self._grow.timeout.connect(self._tell_grown)
        self._told = QElapsedTimer()
        self.overviews.grown.connect(self._put_overview)
        self.overviews.finished.connect(self._finish_overviews)
        self.overviews.failed.connect(self.failed)
        self._samples.read.connect(self._put_samples)
        self._samples.failed.connect(self.failed)
        self._sums.started.connect(self._put_sums)
        self._sums.grown.connect(self._grow_sums)
        self._sums.failed.connect(self.failed)
        times.changed.connect(self._see)

    def show_session(self, session: Session | None) -> None:
        """Open what is new; an edit that changes no recording costs next to nothing."""
        self._session = session
        sources = {lane.id: (lane.source, session.rate_hz) for lane in session.lanes} if session else {}
        if sources != self._sources:
            self._sources = dict(sources)
            self.data.clear()
            self.clips = open_clips(session) if session else {}
            self._samples.set_sources({lane_id: clip.read for lane_id, clip in self.clips.items()})
            self.overviews.show_session(session)
            self._sums.hold(self.overviews.is_busy)
        elif session is not None:
            self.overviews.follow(session)
        self._show_sums()
        self._see()

    def show_transport(self, state: TransportState) -> None:
        """Which version is heard matters."""
        if state.heard_id != self._heard_id:
            self._heard_id = state.heard_id
            self._show_sums()

    def _show_sums(self) -> None:
        """Of the versions that the sum's row may draw: original, the one worked in and the one heard."""
        session = self._session
        wanted = (session.current_version_id, self._heard_id) if session else ()
        versions = {version.id: version for version in (session.versions if session else ())}
        shown = tuple(versions[version_id] for version_id in dict.fromkeys(wanted) if version_id in versions)
        self._sums.show(session, (session.original, *shown) if session else (), self.clips)

    @property
    def is_busy(self) -> bool:
        """Whether an overview or a sum in view is still being made."""
        return self.overviews.is_busy or self._grow.isActive() or self._sums.is_busy

    def close(self) -> None:
        self._grow.stop()
        self._sums.close()
        self._samples.close()
        self.overviews.close()

    def _finish_overviews(self, files: object) -> None:
        self._tell_grown()
        self._sums.hold(False)
        self.overviews_done.emit(files)

    def _see(self) -> None:
        self._sums.see(*self._times.seen)

    def _put_overview(self, lane_id: str, overview: ColumnSource) -> None:
        """The first is told at once; while more comes in, what has grown is told together."""
        pause_ms = GROW_MS if self.data.has_overview(lane_id) else FIRST_MS
        self.data.put_overview(lane_id, overview)
        self._grown[lane_id] = None
        since_ms = self._told.elapsed() if self._told.isValid() else pause_ms
        wait_ms = max(pause_ms - since_ms, 0)
        if not self._grow.isActive() or wait_ms < self._grow.remainingTime():
            self._grow.start(wait_ms)

    def _tell_grown(self) -> None:
        self._grow.stop()
        grown, self._grown = tuple(self._grown), {}
        if grown:
            self._told.start()
            self.overviews_grown.emit(grown)

    def _put_samples(self, lane_id: str, start: int, samples: FloatArray) -> None:
        self.data.put_samples(lane_id, start, samples)
        self.samples_read.emit(lane_id)

    def _put_sums(self, task: SumTask) -> None:
        for version, bins in zip(task.versions, task.bins, strict=True):
            self.data.put_overview(sum_id(version.id), bins)
            self.data.forget_samples(sum_id(version.id))
            self._samples.set_source(sum_id(version.id), _sum_reading(task, version))
        self.sums_started.emit(task.start, task.frames)

    def _grow_sums(self) -> None:
        for lane_id in self.data.overviews():
            if lane_id not in self.clips:
                self.data.touch(lane_id)
        self.sums_grown.emit()


def _sum_reading(task: SumTask, version: Version) -> Callable[[int, int], FloatArray]:
    """Samples of a version's sum, counted from where the sum begins."""

    def read(start: int, stop: int) -> FloatArray:
        return folded(blend(task.session, version, task.clips, task.start + start, stop - start))

    return read
