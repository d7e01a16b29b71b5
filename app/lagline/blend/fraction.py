"""Fractional delay by a windowed sinc, the same bits however the range is cut into blocks.

128 taps under a Kaiser window with beta 12, centred on the delay: the error against the ideal delay
stays under -110 dB up to 20 kHz at 44.1 kHz (Laakso, Valimaki, Karjalainen and Laine, "Splitting the
unit delay", IEEE Signal Processing Magazine 13(1), 1996, 30-60, for the method).

The sum is accumulated tap by tap over whole arrays, never as dot products or by FFT: each output sample
then sees the same additions in the same order whatever its neighbours are, which is what lets playback,
export and a null test between them agree to the last bit.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float32]

TAPS = 128
REACH = TAPS // 2  # input samples needed on either side of an output sample
KAISER_BETA = 12.0
# Fractions smaller than this are rounding noise of arithmetic on shifts: an error under -130 dB at 20 kHz.
WHOLE_WITHIN_SAMPLES = 1e-7
_CHUNK = 8192  # frames worked on at once, so that the three arrays involved stay in the processor's cache


def split_shift(shift_samples: float) -> tuple[int, float]:
    """Whole part and fraction in [0, 1) of a shift; a fraction of rounding noise counts as none."""
    nearest = round(shift_samples)
    if abs(shift_samples - nearest) < WHOLE_WITHIN_SAMPLES:
        return nearest, 0.0
    whole = math.floor(shift_samples)
    return whole, shift_samples - whole


@lru_cache(maxsize=256)
def kernel(fraction: float) -> npt.NDArray[np.float64]:
    """Weights of a delay by `fraction` of a sample, shape (TAPS,), for k = -REACH + 1 .. REACH.

    y[t] = sum over k of weights[k + REACH - 1] * x[t - k], with `fraction` in [0, 1).
    """
    distance = np.arange(-REACH + 1, REACH + 1) - fraction
    inside = np.maximum(0.0, 1.0 - (distance / REACH) ** 2)
    window = np.i0(KAISER_BETA * np.sqrt(inside)) / np.i0(KAISER_BETA)
    weights: npt.NDArray[np.float64] = np.sinc(distance) * window
    weights.flags.writeable = False
    return weights


@lru_cache(maxsize=256)
def _steps(fraction: float) -> tuple[tuple[int, np.float32], ...]:
    """(offset into the padded input, weight), the smallest weights first so that little is rounded away."""
    weights = kernel(fraction).astype(np.float32)
    order = np.argsort(np.abs(weights), kind="stable")
    # Tap k reads x[t - k]; the padded input starts REACH samples before the first output sample.
    return tuple((TAPS - 1 - int(index), weights[index]) for index in order if weights[index] != 0.0)


def delayed(padded: FloatArray, fraction: float) -> FloatArray:
    """Delay by `fraction` of a sample, 0 < fraction < 1.

    Parameters
    ----------
    padded : float32, shape (frames + TAPS - 1,); begins REACH samples before the first output sample.

    Returns
    -------
    float32, shape (frames,)
    """
    frames = len(padded) - (TAPS - 1)
    out = np.zeros(max(frames, 0), dtype=np.float32)
    scratch = np.empty(min(_CHUNK, max(frames, 1)), dtype=np.float32)
    steps = _steps(fraction)
    for first in range(0, frames, _CHUNK):
        count = min(_CHUNK, frames - first)
        total, product = out[first : first + count], scratch[:count]
        for offset, weight in steps:
            np.multiply(padded[first + offset : first + offset + count], weight, out=product)
            np.add(total, product, out=total)
    return out
