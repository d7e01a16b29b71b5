"""Taking out a clock that runs fast or slow: a delay that changes from sample to sample.

The windowed sinc of `fraction` with its weights as polynomials of the fraction (C. W. Farrow, "A continuously
variable digital delay element", IEEE ISCAS 1988): a fixed filter for every power, then a polynomial a sample.
Each output sample depends on its own time alone, so blocks may be cut anywhere without changing a bit.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from lagline.blend.fraction import REACH, TAPS, FloatArray, filtered, kernel

_DEGREE = 9  # error of the polynomials under -135 dB
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


def resampled(samples: FloatArray, whole: npt.NDArray[np.int64], fraction: FloatArray) -> FloatArray:
    """The clip's value at every place.

    Parameters
    ----------
    samples : the clip over `stretch(whole)`.
    whole, fraction : from `places`, shape (frames,).
    """
    out = np.empty(len(whole), dtype=np.float32)
    first_needed = int(whole[0]) - REACH + 1
    for first in range(0, len(whole), _CHUNK):
        part = whole[first : first + _CHUNK]
        at = int(part[0]) - REACH + 1 - first_needed
        count = int(part[-1] - part[0]) + 1
        piece = samples[at : at + count + TAPS - 1]
        index = part - part[0]
        distance = fraction[first : first + _CHUNK] - np.float32(0.5)
        value = np.zeros(len(part), dtype=np.float32)
        for weights in _filters():  # Horner's scheme, the highest power first
            np.multiply(value, distance, out=value)
            np.add(value, np.take(filtered(piece, weights), index), out=value)
        out[first : first + _CHUNK] = value
    return out


@lru_cache(maxsize=1)
def _filters() -> tuple[FloatArray, ...]:
    """Weights of the samples around a place, (TAPS,), a power of (fraction - 1/2); the highest first."""
    nodes = 0.5 - 0.5 * np.cos(np.pi * (np.arange(33) + 0.5) / 33)
    # `kernel(d)` delays by d; a place `fraction` after a sample is a delay by 1 - fraction of the next one.
    rows = np.array([kernel(float(1.0 - node))[::-1] for node in nodes])
    by_tap = np.zeros((TAPS, _DEGREE + 1))
    for tap, weights in enumerate(rows.T):
        fit = np.polynomial.Polynomial.fit(nodes - 0.5, weights, _DEGREE, domain=[-0.5, 0.5]).convert()
        by_tap[tap, : len(fit.coef)] = fit.coef
    return tuple(np.ascontiguousarray(by_tap[:, power], np.float32) for power in range(_DEGREE, -1, -1))
