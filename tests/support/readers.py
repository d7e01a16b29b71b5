"""Arrays that are read as clips are: by first and last sample, silence outside."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np


def reader(signal: np.ndarray) -> Callable[[int, int], np.ndarray]:
    """Reads `signal`, shape (frames,) or (frames, channels), from sample 0 on."""

    def read(start: int, stop: int) -> np.ndarray:
        out = np.zeros((stop - start, *signal.shape[1:]), dtype=np.float32)
        first, last = max(start, 0), min(stop, len(signal))
        if last > first:
            out[first - start : last - start] = signal[first:last]
        return out

    return read
