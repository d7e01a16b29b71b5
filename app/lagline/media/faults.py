"""Faults of a recording's way here, found while it is read through: flat tops, lost and repeated samples.

Thresholds are common practice, no source.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from lagline.media.extremes import FloatArray

SHORTEST_LOSS_SAMPLES, LONGEST_LOSS_SAMPLES = 24, 1024  # of zeros; longer ones show in an overview's bins
REPEATED_SAMPLES = (64, 128, 256, 512, 1024, 2048)  # usual lengths of a device's buffer
_SIDE = 48  # samples beside a loss that tell what sounded there
_LOUD = 1e-3  # ... at least so loud: -60 dBFS
_STEP = 12  # every so many samples are asked first; two of them lie in the shortest loss
_ASKED = 16  # samples of a repeated stretch that are compared first
_STANDS_OUT = 1e-3  # of the peak: a flat top's neighbours lie so much lower, a round top's do not
_FLAT_SAMPLES = 3
_LOWEST_FLAT = 0.05  # of full scale


class FlatTops:
    """Counts flat stretches at the highest level of a channel; at full scale none: that is clipping."""

    def __init__(self, full_scale: float) -> None:
        self._full_scale = full_scale
        self._peak = _LOWEST_FLAT
        self._count = 0

    @property
    def count(self) -> int:
        """How many there are at the highest level so far."""
        return 0 if self._peak >= self._full_scale else self._count

    def add(self, samples: FloatArray, block_peak: float) -> None:
        """The next block and its highest absolute sample."""
        if block_peak < self._peak or len(samples) < _FLAT_SAMPLES + 2:
            return
        if block_peak > self._peak:
            self._peak, self._count = block_peak, 0
        begins, ends = _runs(np.abs(samples) == np.float32(block_peak))
        fits = (ends - begins >= _FLAT_SAMPLES) & (begins > 0) & (ends < len(samples))
        begins, ends = begins[fits], ends[fits]
        beside = np.maximum(np.abs(samples[begins - 1]), np.abs(samples[ends % len(samples)]))
        self._count += int((beside < (1.0 - _STANDS_OUT) * block_peak).sum())


class TransferFaults:
    """Finds stretches of zeros and stretches that play twice. A fault over the end of a block may be missed.

    zeros, repeats : where each begins, in samples from the beginning.
    """

    def __init__(self) -> None:
        self.zeros: list[int] = []
        self.repeats: list[int] = []
        self._done = 0

    def add(self, samples: FloatArray) -> None:
        """The next block."""
        self.zeros += [self._done + at for at in _lost(samples)]
        self.repeats += [self._done + at for at in _repeated(samples)]
        self._done += len(samples)


def _lost(samples: FloatArray) -> list[int]:
    """Where short runs of exact zeros begin that break loud sound off and let it go on."""
    zero = samples[::_STEP] == 0.0
    both = np.flatnonzero(zero[1:] & zero[:-1])
    if not len(both):
        return []
    begins, ends = _runs(zero)
    begins, ends = begins[ends - begins >= 2] * _STEP, ends[ends - begins >= 2] * _STEP
    found = []
    for first, last in zip(begins.tolist(), ends.tolist(), strict=True):
        if last - first > LONGEST_LOSS_SAMPLES:
            continue
        begin, end = _edges(samples, first, last - _STEP)
        before, after = samples[max(0, begin - _SIDE) : begin], samples[end : end + _SIDE]
        if len(before) < _SIDE or len(after) < _SIDE or end - begin < SHORTEST_LOSS_SAMPLES:
            continue
        loud = min(np.abs(before).max(), np.abs(after).max()) > _LOUD
        abrupt = max(abs(before[-1]), abs(after[0])) > 0.1 * max(np.abs(before).max(), np.abs(after).max())
        if loud and abrupt and end - begin <= LONGEST_LOSS_SAMPLES:
            found.append(begin)
    return found


def _edges(samples: FloatArray, first: int, last: int) -> tuple[int, int]:
    """The run of zeros that holds all samples from `first` to `last`: begin, and end (not included)."""
    if samples[first : last + 1].any():
        return first, first
    lowest = max(0, first - _STEP)
    before = np.flatnonzero(samples[lowest:first])
    after = np.flatnonzero(samples[last : last + _STEP + 1])
    begin = lowest + int(before[-1]) + 1 if len(before) else lowest
    return begin, last + int(after[0]) if len(after) else last + _STEP


def _repeated(samples: FloatArray) -> list[int]:
    """Where a stretch of one of the usual lengths begins that is the one before it once more."""
    found: list[int] = []
    for length in REPEATED_SAMPLES:
        step = length // _ASKED
        asked = samples[::step]
        equal = asked[_ASKED:] == asked[:-_ASKED]
        begins, ends = _runs(equal)
        for first in begins[ends - begins >= _ASKED - 1].tolist():
            at = first * step
            # The exact beginning lies within a step before; what is periodic repeats more than once.
            starts = range(max(0, at - step + 1), at + 1)
            begin = next((begin for begin in starts if _plays_twice(samples, begin, length)), None)
            if begin is not None:
                found.append(begin + length)
    return sorted(found)


def _plays_twice(samples: FloatArray, begin: int, length: int) -> bool:
    """Whether a loud stretch is followed by itself, and not by itself once more or from itself before."""
    once, twice = samples[begin : begin + length], samples[begin + length : begin + 2 * length]
    if len(twice) < length or not np.array_equal(once, twice) or np.abs(once).max() <= _LOUD:
        return False
    if len(np.unique(once)) < length // 4:
        return False
    third = samples[begin + 2 * length : begin + 3 * length]
    return not np.array_equal(third, once[: len(third)]) or not len(third)


def _runs(true: npt.NDArray[np.bool_]) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Begins and ends (not included) of the runs of True."""
    steps = np.flatnonzero(np.diff(true.view(np.int8), prepend=0, append=0))
    return steps[0::2], steps[1::2]
