"""Peaks of a match curve and steps among points: pure numpy, no Qt."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def peak_places(curve: FloatArray, least: float = 0.1) -> NDArray[np.intp]:
    """Indices of the local maxima of `|curve|` that reach `least` of the highest, ascending."""
    height = np.abs(np.asarray(curve, dtype=np.float64))
    if len(height) < 3 or not height.max() > 0:
        return np.zeros(0, dtype=np.intp)
    inner = (height[1:-1] > height[:-2]) & (height[1:-1] >= height[2:])
    places = np.flatnonzero(inner) + 1
    return places[height[places] >= least * height.max()]


def refined_places(curve: FloatArray, places: NDArray[np.intp]) -> FloatArray:
    """Indices of the tops of the parabolas through local maxima of `|curve|` and their neighbours.

    `places`: as `peak_places` gives them, none at an end of the curve.
    """
    height = np.abs(np.asarray(curve, dtype=np.float64))
    left, middle, right = (height[places + by] for by in (-1, 0, 1))
    return places + 0.5 * (left - right) / (left - 2 * middle + right)


def nearest(places: FloatArray, x: float) -> int | None:
    """Index of the place nearest to `x`; None when there is none."""
    return int(np.argmin(np.abs(places - x))) if len(places) else None


def following(places: FloatArray, x: float, by: int, *, closer_than: float = 1e-6) -> float | None:
    """The next place after (`by` 1) or before (`by` -1) `x`; None at the end. `places` ascending."""
    left = places[places > x + closer_than] if by > 0 else places[places < x - closer_than][::-1]
    return float(left[0]) if len(left) else None


def per_octave(
    frequency_hz: FloatArray, coherence: FloatArray, phase_rad: FloatArray, count: int = 24
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Coherence and phase averaged in `count` steps an octave, where there are more bins than that.

    Phase is averaged as directions weighted by coherence, so that it does not tear at 180 degrees.
    Returns frequencies, coherence, phase: one of each per step that has a bin, ascending.
    """
    positive = frequency_hz > 0
    hertz, squared, phase = frequency_hz[positive], coherence[positive], phase_rad[positive]
    step = np.round(np.log2(hertz / 1000.0) * count).astype(np.intp)
    _, group, size = np.unique(step, return_inverse=True, return_counts=True)

    def mean(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(group, weights=values) / size)

    real, imaginary = mean(squared * np.cos(phase)), mean(squared * np.sin(phase))
    return mean(hertz), mean(squared), np.asarray(np.arctan2(imaginary, real))
