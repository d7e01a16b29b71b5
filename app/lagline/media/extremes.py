"""Lowest and highest values of many stretches of an array at once."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float32]
IndexArray = npt.NDArray[np.intp]

_WIDEST = 40  # beyond so many values a stretch, going through them one by one is as quick
_ODD_ONES = 8  # stretches much shorter than the others that are looked at singly


def extremes(
    lows: FloatArray, highs: FloatArray, begin: IndexArray, end: IndexArray
) -> tuple[FloatArray, FloatArray]:
    """Lowest of `lows` and highest of `highs` over begin[i]..end[i]-1, for every i.

    Parameters
    ----------
    lows, highs : shape (n,); the same array, or the extremes of bins.
    begin, end : shape (count,), each growing or staying; 0 <= begin[i] < end[i] <= n. Stretches may share
        values with the next one.

    Returns
    -------
    float32, shape (count,), each.

    Short stretches are the overlap of two windows of a power of two values, whose extremes are made for the
    whole array at once (M. Bender and M. Farach-Colton, "The LCA problem revisited", LATIN 2000, section 3).
    """
    widths = end - begin
    window = _window_for(int(widths.max()))
    odd = np.flatnonzero(widths < window)
    first, stop = int(begin[0]), int(end[-1])
    low, high = lows[first:stop], highs[first:stop]
    if window > _WIDEST // 2 or len(odd) > _ODD_ONES:
        shared = end[:-1] - begin[1:]
        if not len(shared) or (shared.min() >= 0 and shared.max() <= 1):  # they join, or share one value
            last = end - (first + 1)
            return (
                np.minimum(np.minimum.reduceat(low, begin - first), low[last]),
                np.maximum(np.maximum.reduceat(high, begin - first), high[last]),
            )
        fences = np.empty(2 * len(begin), np.intp)
        fences[0::2], fences[1::2] = begin, end
        fences -= first
        # One value more: `reduceat` takes no fence behind the last value.
        low, high = np.append(low, low[-1:]), np.append(high, high[-1:])
        return np.minimum.reduceat(low, fences)[::2], np.maximum.reduceat(high, fences)[::2]
    reach = 1
    while reach < window:
        low, high = np.minimum(low[:-reach], low[reach:]), np.maximum(high[:-reach], high[reach:])
        reach *= 2
    here, there = begin - first, end - (first + window)
    if len(odd):
        here, there = np.minimum(here, len(low) - 1), np.maximum(there, 0)
    lowest, highest = np.minimum(low[here], low[there]), np.maximum(high[here], high[there])
    for number in odd:
        few = slice(begin[number], end[number])
        lowest[number], highest[number] = lows[few].min(), highs[few].max()
    return lowest, highest


def _window_for(widest: int) -> int:
    """The smallest power of two of which two cover the widest stretch."""
    window = 1
    while 2 * window < widest:
        window *= 2
    return window


def bin_extremes(samples: FloatArray, bin_samples: int) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest of every bin of `bin_samples`, a power of two; the last one may be cut off.

    samples : shape (n,), n at least 1. Returns float32, shape (bins,), each.
    """
    whole = len(samples) // bin_samples * bin_samples
    rest = samples[whole:]
    lows, highs = (
        reduced(extreme, samples[:whole], whole // bin_samples) for extreme in (np.minimum, np.maximum)
    )
    if not len(rest):
        return lows, highs
    return np.append(lows, rest.min()), np.append(highs, rest.max())


def reduced(extreme: np.ufunc, values: FloatArray, count: int) -> FloatArray:
    """`np.minimum` or `np.maximum` of `count` equal stretches, a power of two values each.

    Pair by pair: reducing many short stretches one by one takes three times as long.
    """
    while len(values) > count:
        values = extreme(values[0::2], values[1::2])
    return values
