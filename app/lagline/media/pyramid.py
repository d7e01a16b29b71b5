"""The overview of one clip: lowest and highest sample per bin, in levels, quick to draw from."""

from __future__ import annotations

import copy
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from lagline.media.extremes import FloatArray, IndexArray, extremes, reduced

BIN_SAMPLES = 64
WIDE_BIN_SAMPLES = 256  # for recordings longer than LONG_FRAMES, to bound memory
LONG_FRAMES = 200_000_000  # 69 min at 48 kHz: 25 MB a lane at 64 samples a bin
RADIX = 4  # bins of one level in a bin of the next; a power of two
FINE_BINS = 4  # a column has at least so many: its edges are off by an eighth of it at most


def bin_samples_for(frames: int) -> int:
    """Samples a bin of the finest level for a recording of that length."""
    return BIN_SAMPLES if frames <= LONG_FRAMES else WIDE_BIN_SAMPLES


class Overview:
    """Lowest and highest sample of every bin of `bin_samples` samples, and of RADIX bins, and so on.

    Filled from the front while the recording is read; `columns` may be asked at any time from another
    thread and shows silence for what is not there yet (`ready_frames`). Nothing else changes it.
    """

    def __init__(self, frames: int, bin_samples: int) -> None:
        self._bin_samples = bin_samples
        self._frames = frames
        self._ratio = 1.0  # file samples in a delivered sample
        self._filled = [0]  # bins of the finest level; a list, so that views at other rates see it grow
        sizes = [max(1, -(-frames // bin_samples))]
        while sizes[-1] > RADIX:
            sizes.append(-(-sizes[-1] // RADIX))
        self._sizes = sizes
        # Rounded up to whole groups: `put` halves a group until it is one bin of the next level.
        rows = [-(-size // RADIX) for size in sizes]
        self._lows: list[FloatArray] = [np.zeros(RADIX * count, np.float32) for count in rows]
        self._highs: list[FloatArray] = [np.zeros(RADIX * count, np.float32) for count in rows]

    @property
    def frames(self) -> int:
        """Length in samples of the clip, at the rate of this view."""
        return int(np.ceil(self._frames / self._ratio))

    @property
    def ready_frames(self) -> int:
        """How much of it has been read."""
        return min(self.frames, int(self._filled[0] * self.bin_samples))

    @property
    def bin_samples(self) -> float:
        """Samples a bin of the finest level. With fewer samples a column than this, draw the samples
        themselves (`Clip.read`): the columns would only show steps."""
        return self._bin_samples / self._ratio

    @property
    def bins(self) -> tuple[FloatArray, FloatArray]:
        """The finest level: lowest and highest samples, shape (bins,). Not to be written to."""
        return self._lows[0][: self._sizes[0]], self._highs[0][: self._sizes[0]]

    def at_rate(self, file_rate_hz: int, rate_hz: int) -> Overview:
        """The same overview counted in samples of a clip that is delivered at another rate."""
        view = copy.copy(self)
        view._ratio = file_rate_hz / rate_hz
        return view

    def columns(self, first: float, stop: float, count: int) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest sample in each of `count` equal columns between two places.

        Column edges are taken to the nearest edge of a bin of the coarsest level that has FINE_BINS or
        more of them in a column (else of the finest), so that every bin falls in exactly one column and no
        peak is ever lost; with edges on whole bins of that level the answer is exact.

        Parameters
        ----------
        first, stop : samples of the clip, first < stop; may lie outside it, where there is silence.
        count : at least 1.

        Returns
        -------
        lows, highs : float32, shape (count,).
        """
        if count < 1 or not stop > first:
            raise ValueError(f"no columns lie between {first} and {stop} in {count} parts")
        level = self._level_for((stop - first) / count)
        size = self._bin_samples * RADIX**level
        bins, low_bins, high_bins = self._sizes[level], self._lows[level], self._highs[level]
        scale = self._ratio / size
        edges = first * scale + (stop - first) * scale / count * _numbers(count + 1)
        begin, end = self._bins_between(edges, bins)
        if end[-1] == bins - 1 and stop * self._ratio >= self._frames:
            end[-1] = bins  # the rest of the clip is in the last column
        whole = int(self._frames // size)  # bins without a sample beyond the end
        if begin[0] >= 0 and end[-1] <= whole:
            return extremes(low_bins, high_bins, begin, end)
        lows, highs = np.zeros(count, np.float32), np.zeros(count, np.float32)
        inside = np.flatnonzero((begin < bins) & (end > 0))
        if len(inside):
            part = slice(inside[0], inside[-1] + 1)
            there = np.maximum(begin[part], 0), np.minimum(end[part], bins)
            lows[part], highs[part] = extremes(low_bins, high_bins, *there)
            partly = inside[(begin[part] < 0) | (end[part] > whole)]  # the rest of the column is silence
            lows[partly], highs[partly] = np.minimum(lows[partly], 0.0), np.maximum(highs[partly], 0.0)
        return lows, highs

    def _level_for(self, column_samples: float) -> int:
        """The coarsest level with enough bins in a column of so many samples."""
        bins = column_samples * self._ratio / self._bin_samples
        level = 0
        while bins >= RADIX * FINE_BINS and level + 1 < len(self._sizes):
            bins /= RADIX
            level += 1
        return level

    @staticmethod
    def _bins_between(edges: npt.NDArray[np.float64], bins: int) -> tuple[IndexArray, IndexArray]:
        """First and one-past-last bin of the column between each two edges, at most one beyond the ends."""
        limits = np.maximum(edges, -1.0)
        np.minimum(limits, bins + 1.0, out=limits)
        limits += 1.5  # at least 0.5: cutting the fraction off rounds down
        whole = limits.astype(np.intp)
        whole -= 1
        begin, end = whole[:-1], whole[1:]
        if edges[1] - edges[0] >= 1.5:
            return begin, end
        narrow = begin == end
        if narrow.any():  # less than a bin a column: the bin in which the column's middle lies
            middle = np.floor(np.clip((edges[:-1] + edges[1:]) / 2, -1.0, bins)).astype(np.intp)
            return np.where(narrow, middle, begin), np.where(narrow, middle + 1, end)
        return begin, end

    def fill(self, lows: FloatArray, highs: FloatArray) -> None:
        """Append bins of the finest level, from the thread that reads the recording only."""
        self.put(self._filled[0], lows, highs)
        self._filled[0] += len(lows)

    def put(self, begin: int, lows: FloatArray, highs: FloatArray) -> None:
        """Bins of the finest level from `begin` on, in any order, from one thread; `ready_frames` stays."""
        end = begin + len(lows)
        self._lows[0][begin:end], self._highs[0][begin:end] = lows, highs
        for level in range(1, len(self._lows)):
            begin, end = begin // RADIX, -(-end // RADIX)
            finer = slice(begin * RADIX, end * RADIX)
            for extreme, levels in ((np.minimum, self._lows), (np.maximum, self._highs)):
                levels[level][begin:end] = reduced(extreme, levels[level - 1][finer], end - begin)


@lru_cache(maxsize=8)  # every lane of every frame asks for as many
def _numbers(count: int) -> npt.NDArray[np.float64]:
    return np.arange(count, dtype=np.float64)
