"""What lies behind the pixels of a lane: its overview, or its samples when the view is close. No widgets."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Protocol

import numpy as np

from lagline.desk.lanes.raster import FloatArray, columns_of

SAMPLES_BELOW = 64.0  # samples a pixel column; wider than this an overview is as good
MARGIN = 1.0  # read so many view widths on either side, so that panning finds samples there


KEPT = 3  # looked-up columns a lane: wave and ghost of one view, and the anchor behind another lane
HELD = 3  # stretches of samples a lane: wave and ghost lie a shift apart, and one of the view before
Columns = tuple[FloatArray, FloatArray]


class ColumnSource(Protocol):
    """A finished or growing overview of one recording; `lagline.media.overview.Overview` is one."""

    def columns(self, first: float, stop: float, count: int) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest sample in each of `count` equal columns from `first` to `stop`."""


class ClipLike(Protocol):
    """What drawing needs of a clip."""

    def read(self, start: int, stop: int) -> FloatArray:
        """Samples `start` to `stop`, shape (stop - start,), with silence outside the recording."""


class Stretch:
    """Samples of a clip that are at hand."""

    def __init__(self, start: int, samples: FloatArray) -> None:
        self.start = start
        self.stop = start + len(samples)
        self.samples = samples

    def covers(self, start: int, stop: int) -> bool:
        """Whether all samples of a range are in it."""
        return self.start <= start and stop <= self.stop


class WaveData:
    """Columns and samples of every lane, for whoever draws them.

    Lives on the desk's thread. `ask(lane_id, start, stop)` is called when samples are wanted that are not
    at hand; whoever reads them hands them back with `put_samples`.
    """

    def __init__(self, ask: Callable[[str, int, int], None]) -> None:
        self._ask = ask
        self._overviews: dict[str, ColumnSource] = {}
        self._stretches: dict[str, list[Stretch]] = {}  # last used first
        self._revisions: dict[str, int] = {}
        self._peaks: dict[str, tuple[tuple[int, int], float]] = {}
        self._kept: dict[str, dict[tuple[int, float, float, int], Columns | None]] = {}

    def revision(self, lane_id: str) -> int:
        """Grows whenever the lane would be drawn differently."""
        return self._revisions.get(lane_id, 0)

    def put_overview(self, lane_id: str, overview: ColumnSource) -> None:
        """A new overview of the lane, or more of the one it has."""
        self._overviews[lane_id] = overview
        self._revisions[lane_id] = self.revision(lane_id) + 1

    def put_samples(self, lane_id: str, start: int, samples: FloatArray) -> None:
        """Keep samples of a clip from `start` on; the oldest stretch of the lane may go."""
        # Not one in place of another: a shifted lane would then wait for its wave while its ghost is drawn,
        # and for its ghost while its wave is, without end.
        self._stretches[lane_id] = [Stretch(start, samples), *self._stretches.get(lane_id, ())][:HELD]
        self._revisions[lane_id] = self.revision(lane_id) + 1

    def touch(self, lane_id: str) -> None:
        """The overview that is there has grown."""
        self._revisions[lane_id] = self.revision(lane_id) + 1

    def forget_samples(self, lane_id: str) -> None:
        """Let go of a lane's samples; its overview stays."""
        self._stretches.pop(lane_id, None)

    def clear(self) -> None:
        """Let go of everything of the take."""
        self._overviews.clear()
        self._stretches.clear()
        # Numbers go on from where they were: what is drawn of another take must not pass for this one.
        self._revisions = {lane_id: number + 1 for lane_id, number in self._revisions.items()}
        self._peaks.clear()
        self._kept.clear()

    def has_overview(self, lane_id: str) -> bool:
        """Whether the whole lane can be drawn."""
        return lane_id in self._overviews

    def overviews(self) -> Mapping[str, ColumnSource]:
        """What is there to draw whole lanes from, by lane id."""
        return self._overviews

    def columns(
        self, lane_id: str, first: float, per_column: float, count: int
    ) -> tuple[FloatArray, FloatArray] | None:
        """Lowest and highest sample behind each column; None while nothing is known of the lane.

        `first` and `per_column` are in the clip's samples. Close views are exact once the samples are at
        hand, and drawn from the overview until then.
        """
        wish = (self.revision(lane_id), first, per_column, count)
        kept = self._kept.setdefault(lane_id, {})
        found = kept.pop(wish) if wish in kept else self._looked_up(lane_id, first, per_column, count)
        if len(kept) >= KEPT:
            del kept[next(iter(kept))]  # the one that was not asked for the longest
        kept[wish] = found
        return found

    def _looked_up(
        self, lane_id: str, first: float, per_column: float, count: int
    ) -> tuple[FloatArray, FloatArray] | None:
        stop = first + per_column * count
        if per_column < SAMPLES_BELOW:
            stretch = self.samples(lane_id, first, stop)
            if stretch is not None and per_column >= 1:
                return columns_of(stretch.samples, first - stretch.start, per_column, count)
        overview = self._overviews.get(lane_id)
        return None if overview is None else overview.columns(first, stop, count)

    def samples(self, lane_id: str, first: float, stop: float) -> Stretch | None:
        """Samples that cover `first`..`stop`; None, and asked for, when they are not at hand."""
        start, end = math.floor(first) - 2, math.ceil(stop) + 2
        held = self._stretches.get(lane_id, [])
        for number, stretch in enumerate(held):
            if stretch.covers(start, end):
                held.insert(0, held.pop(number))
                return stretch
        more = math.ceil(MARGIN * (end - start))
        self._ask(lane_id, start - more, end + more)
        return None

    def peak(self, lane_id: str, frames: int) -> float:
        """The lane's largest magnitude as far as it is known, 0..; 0 while unknown."""
        overview = self._overviews.get(lane_id)
        if overview is None:
            return 0.0
        known = (self.revision(lane_id), frames)
        if lane_id not in self._peaks or self._peaks[lane_id][0] != known:
            mins, maxs = overview.columns(0.0, float(frames), 512)
            peak = float(max(np.max(maxs, initial=0.0), -np.min(mins, initial=0.0)))
            self._peaks[lane_id] = (known, peak)
        return self._peaks[lane_id][1]
