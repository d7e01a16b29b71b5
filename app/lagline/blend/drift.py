"""Taking out a clock that runs fast or slow: a delay that changes from sample to sample.

The windowed sinc of `fraction` with its weights as polynomials of the fraction (C. W. Farrow, "A continuously
variable digital delay element", IEEE ISCAS 1988): a fixed filter for every power, then a polynomial a sample.
A clock drifts so slowly that thousands of samples fall into one small cell of fractions, in which polynomials
of a low degree are as good.
Each output sample depends on its own time alone, so blocks may be cut anywhere without changing a bit.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from lagline.blend.fraction import REACH, TAPS, FloatArray, filtered, kernel

_BANKS = ((128, 2), (16, 4), (4, 6), (1, 9))  # cells, degree: error of the polynomials under -140 dB
_LEAST_RUN = 1200  # samples in a cell: with fewer, beginning a run takes longer than what it saves
_CHUNK = 8192


def places(
    start: int, frames: int, place_samples: int, shift_samples: float, rate_ppm: float
) -> tuple[npt.NDArray[np.int64], FloatArray]:
    """Where in the clip each session sample from `start` on is read.

    Returns the whole clip sample at or before the place, int64, and the fraction in [0, 1) after it,
    float32, both shape (frames,). A lane that was getting later (positive `rate_ppm`) is read ever further
    on. The shift holds at session time 0.
    """
    times = np.arange(start, start + frames, dtype=np.float64)
    moved = times * (rate_ppm * 1e-6) - shift_samples  # small beside the time: its fraction stays exact
    whole = np.floor(moved)
    fraction = (moved - whole).astype(np.float32)
    return (times + whole).astype(np.int64) - place_samples, fraction


def stretch(whole: npt.NDArray[np.int64]) -> tuple[int, int]:
    """First and one-past-last clip sample that `resampled` needs for these places."""
    return int(whole[0]) - REACH + 1, int(whole[-1]) + REACH + 1


def resampled(
    samples: FloatArray, whole: npt.NDArray[np.int64], fraction: FloatArray, rate_ppm: float
) -> FloatArray:
    """The clip's value at every place.

    Parameters
    ----------
    samples : the clip over `stretch(whole)`.
    whole, fraction : from `places` at `rate_ppm`, shape (frames,).
    """
    cells, degree = _bank(rate_ppm)
    cell = np.minimum((fraction * np.float32(cells)).astype(np.int64), cells - 1)
    distance = (fraction - (cell + 0.5) / cells).astype(np.float32)
    out = np.empty(len(whole), dtype=np.float32)
    origin = int(whole[0])
    cuts = {0, len(whole), *range(0, len(whole), _CHUNK), *(np.flatnonzero(np.diff(cell)) + 1).tolist()}
    for first, stop in pairwise(sorted(cuts)):
        part = whole[first:stop]
        at = int(part[0]) - origin
        piece = samples[at : at + int(part[-1] - part[0]) + TAPS]
        index = part - part[0]
        value = np.zeros(len(part), dtype=np.float32)
        for weights in _filters(cells, degree, int(cell[first])):  # Horner's scheme, the highest power first
            np.multiply(value, distance[first:stop], out=value)
            np.add(value, np.take(filtered(piece, weights), index), out=value)
        out[first:stop] = value
    return out


def _bank(rate_ppm: float) -> tuple[int, int]:
    """Into how many cells a sample is cut at that rate, and the degree of the polynomials within one: the
    finer the cells the fewer filters, but no finer than that a run of samples stays within one.
    """
    return next(bank for bank in _BANKS if bank[0] == 1 or bank[0] * abs(rate_ppm) * _LEAST_RUN <= 1e6)


@lru_cache(maxsize=256)
def _filters(cells: int, degree: int, cell: int) -> tuple[FloatArray, ...]:
    """Weights of the samples around a place, (TAPS,), a power of the distance from the cell's centre; the
    highest first."""
    centre, half = (cell + 0.5) / cells, 0.5 / cells
    nodes = -np.cos(np.pi * (np.arange(33) + 0.5) / 33)
    # `kernel(d)` delays by d; a place `fraction` after a sample is a delay by 1 - fraction of the next one.
    rows = np.array([kernel(float(1.0 - centre - half * node))[::-1] for node in nodes])
    by_power = np.polynomial.polynomial.polyfit(nodes, rows, degree) / half ** np.arange(degree + 1)[:, None]
    return tuple(np.ascontiguousarray(by_power[power], np.float32) for power in range(degree, -1, -1))
