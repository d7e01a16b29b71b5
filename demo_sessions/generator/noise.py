"""The same random numbers everywhere: raw PCG64 words, a stream numpy promises to keep (NEP 19)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Signal = NDArray[np.float64]


def uniform(count: int, *seed: int) -> Signal:
    """`count` values in [0, 1). `seed` is any number of integers, taken together."""
    words = np.random.PCG64(list(seed)).random_raw(count)
    return (np.asarray(words, dtype=np.uint64) >> np.uint64(11)).astype(np.float64) * 2.0**-53


def spread(count: int, low: float, high: float, *seed: int) -> Signal:
    """`count` values spread evenly between `low` and `high`."""
    return low + (high - low) * uniform(count, *seed)


def normal(count: int, *seed: int) -> Signal:
    """`count` values of a normal distribution, mean 0, deviation 1 (Box and Muller, 1958).

    A smaller count gives the same beginning.
    """
    half = (count + 1) // 2
    radius = np.sqrt(-2.0 * np.log1p(-uniform(half, *seed, 1)))
    angle = 2.0 * np.pi * uniform(half, *seed, 2)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1).ravel()[:count]
