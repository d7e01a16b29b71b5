"""Peaks between the samples: 4x oversampling as ITU-R BS.1770 Annex 2 describes, where it matters."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float32]

FACTOR = 4
REACH = 24  # samples the interpolation looks to either side
_KAISER_BETA = 7.0


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
