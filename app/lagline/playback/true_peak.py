"""The true peak: how high the sound rises between its samples (ITU-R BS.1770-4 annex 2)."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from lagline.playback.reels import FloatArray

OVERSAMPLING = 4
_TAPS = 24  # a phase
_KAISER_BETA = 6.0


@lru_cache(maxsize=1)
def _phases() -> npt.NDArray[np.float32]:
    """Weights of the points between samples, in the samples' order, shape (OVERSAMPLING - 1, _TAPS)."""
    fractions = np.arange(1, OVERSAMPLING) / OVERSAMPLING
    distance = np.arange(-_TAPS // 2 + 1, _TAPS // 2 + 1) - fractions[:, np.newaxis]
    inside = np.maximum(0.0, 1.0 - (2.0 * distance / _TAPS) ** 2)
    weights = np.sinc(distance) * np.i0(_KAISER_BETA * np.sqrt(inside))
    scaled: npt.NDArray[np.float32] = (weights / weights.sum(axis=1, keepdims=True)).astype(np.float32)
    return np.ascontiguousarray(scaled[:, ::-1])


class TruePeakMeter:
    """Largest absolute value of a stereo stream, looked at four times a sample.

    Blocks may have any size; the points between the last samples of one block are looked at with the next.
    """

    def __init__(self) -> None:
        self._past = np.zeros((_TAPS - 1, 2), np.float32)

    def peak(self, block: FloatArray) -> float:
        """Of `block`, float32 (frames, 2), and the points up to it; 0.0 for an empty block."""
        if not len(block):
            return 0.0
        samples = np.concatenate([self._past, block])
        self._past = samples[len(samples) - (_TAPS - 1) :]
        highest = float(np.abs(block).max())
        if not samples.any():
            return 0.0
        windows = sliding_window_view(samples, _TAPS, axis=0)  # (frames, 2, _TAPS)
        between = windows @ _phases().T
        return max(highest, float(np.abs(between).max()))
