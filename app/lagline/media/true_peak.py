"""Peaks between the samples: 4x oversampling as ITU-R BS.1770 Annex 2 describes.

`TruePeakMeter` finds the highest one of a recording, looking only where it can be; `TruePeakStream` looks
everywhere, for meters that move with the sound.
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from lagline.media.extremes import FloatArray, bin_extremes

FACTOR = 4
REACH = 24  # samples the interpolation looks to either side
_KAISER_BETA = 7.0
_LOUD_BINS = 64  # places a block that are looked at
_AT_ONCE = 16  # of them in one product: with more, BLAS spreads it over threads
_STRETCH = 16  # frames of a stream that are looked at together
_MOST_STRETCHES = 64  # so few a product that no linear-algebra library spreads it over threads
_LOUD_SHARE = 0.7  # of the highest sample so far; quieter places cannot hold the highest true peak of music


def _interpolation(samples: int) -> FloatArray:
    """Matrix from `samples + 2 * REACH` samples to the FACTOR - 1 values after each of the inner ones."""
    width = samples + 2 * REACH
    at = REACH + np.arange(samples)[:, None] + np.arange(1, FACTOR) / FACTOR
    distance = np.arange(width)[:, None] - at.reshape(-1)
    shape = np.sqrt(np.clip(1.0 - (distance / REACH) ** 2, 0.0, None))
    window = np.where(np.abs(distance) < REACH, np.i0(_KAISER_BETA * shape) / np.i0(_KAISER_BETA), 0.0)
    kernel = np.sinc(distance) * window
    matrix: FloatArray = (kernel / kernel.sum(axis=0)).astype(np.float32)
    return matrix


_MATRICES: dict[int, FloatArray] = {}


def peak_between(stretches: FloatArray) -> float:
    """Highest absolute value between the inner samples of stretches, shape (stretches, n + 2 * REACH)."""
    samples = stretches.shape[1] - 2 * REACH
    matrix = _MATRICES.get(samples)
    if matrix is None:
        matrix = _MATRICES[samples] = _interpolation(samples)
    return float(np.abs(stretches @ matrix).max(initial=0.0))


class TruePeakMeter:
    """Highest value at and between the samples of one channel, given in blocks.

    Blocks are whole bins of `bin_samples`, but for the last one. Only the loudest bins of each block
    are oversampled, which finds the highest peak of anything that is not made to hide it.
    """

    def __init__(self, bin_samples: int = 64) -> None:
        self._bin = bin_samples
        # What is looked at on either side of where two blocks meet: a bin and the interpolation's reach.
        self._side = bin_samples + 2 * REACH
        self._edge = np.zeros(self._side, np.float32)
        self._between = 0.0
        self.sample_peak = 0.0

    def add(self, samples: FloatArray, levels: FloatArray | None = None) -> None:
        """One block, shape (frames,); `levels` are its bins' highest absolute values, if they are known."""
        if len(samples) == 0:
            return
        if levels is None:
            lows, highs = bin_extremes(samples, self._bin)
            levels = np.maximum(highs, -lows)
        self.sample_peak = max(self.sample_peak, float(levels.max()))
        loud = np.flatnonzero(levels >= max(_LOUD_SHARE * self.sample_peak, 1e-30))
        if len(loud) > _LOUD_BINS:
            loud = loud[np.argpartition(levels[loud], -_LOUD_BINS)[-_LOUD_BINS:]]
        # A sample more before each bin, so that the way into it and out of it is looked at too.
        before, after = REACH + 1, self._bin + REACH
        starts = loud * self._bin
        inner = (starts >= before) & (starts + after <= len(samples))
        if inner.any():
            index = starts[inner][:, None] + np.arange(-before, after)
            for first in range(0, len(index), _AT_ONCE):
                self._between = max(self._between, peak_between(samples[index[first : first + _AT_ONCE]]))
        self._look_across(samples[: self._side])
        self._edge = np.concatenate([self._edge, samples[-self._side :]])[-self._side :]

    def finish(self) -> float:
        """The true peak, once the last block is in."""
        self._look_across(np.zeros(0, np.float32))
        return max(self.sample_peak, self._between)

    def _look_across(self, following: FloatArray) -> None:
        """Oversample where one block meets the next; with nothing following, to the end of the recording."""
        seam = np.concatenate([self._edge, following, np.zeros(self._side - len(following), np.float32)])
        if np.abs(seam).max() >= _LOUD_SHARE * self.sample_peak > 0.0:
            self._between = max(self._between, peak_between(seam[None]))


class TruePeakStream:
    """Highest value at and between the samples of a stream of several channels, block by block.

    Blocks may have any size. The last frames of a block (up to REACH + _STRETCH) are looked between with the
    next one.
    """

    def __init__(self, channels: int = 2) -> None:
        self._waiting = np.zeros((2 * REACH, channels), np.float32)

    def peak(self, block: FloatArray) -> float:
        """Of `block`, shape (frames, channels), and of what was waiting before it; 0.0 for an empty one."""
        if not len(block):
            return 0.0
        samples = np.concatenate([self._waiting, block])
        whole = (len(samples) - 2 * REACH) // _STRETCH * _STRETCH
        self._waiting = samples[whole:]
        highest = float(np.abs(block).max())
        if not whole or not samples.any():
            return highest
        for side in samples[: whole + 2 * REACH].T:
            stretches = sliding_window_view(side, _STRETCH + 2 * REACH)[::_STRETCH]
            for first in range(0, len(stretches), _MOST_STRETCHES):
                highest = max(highest, peak_between(stretches[first : first + _MOST_STRETCHES]))
        return highest
