"""Mains hum: steady lines at multiples of 50 or 60 Hz, which any two lanes of one building share."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lagline.analysis.scan import Floats

HIGHEST_HZ = 2000.0
MAINS_HZ = (50.0, 60.0)
STEADY_DB = 2.5  # standard deviation of a line's level over the windows
ABOVE_DB = 9.0  # over its surroundings
MOST_WINDOWS = 64
FEWEST_WINDOWS = 6


def hum_bins(
    values: NDArray[np.complexfloating], energy: Floats, start: NDArray[np.int64], size: int, rate_hz: int
) -> NDArray[np.bool_]:
    """Which bins hold mains hum and nothing else worth having.

    Parameters
    ----------
    values : spectra of one lane's windows, shape (windows, bins), each of unit energy.
    energy : what they had before, shape (windows,). start : sample at which each window begins.
    """
    bins = values.shape[1]
    mask = np.zeros(bins, bool)
    rows = np.flatnonzero(energy > 0)[:MOST_WINDOWS]
    if len(rows) < FEWEST_WINDOWS:
        return mask
    top = min(int(HIGHEST_HZ * size / rate_hz), bins - 1)
    part = values[rows, : top + 1]
    level = 20 * np.log10(np.abs(part) * np.sqrt(energy[rows])[:, None] + 1e-12)
    mean, spread = level.mean(axis=0), level.std(axis=0)
    floor = _running_median(mean, 41)
    inner = np.arange(1, top)
    peaks = inner[
        (mean[inner] >= mean[inner - 1])
        & (mean[inner] > mean[inner + 1])
        & (mean[inner] > floor[inner] + ABOVE_DB)
        & (spread[inner] < STEADY_DB)
    ]
    for peak in peaks:
        if _is_mains(_frequency(part[:, peak], start[rows], peak, size, rate_hz)):
            low, high = int(peak), int(peak)
            while low > 0 and mean[low - 1] > floor[low - 1] + 1.0 and peak - low < 40:
                low -= 1
            while (
                high < bins - 1 and high < top and mean[high + 1] > floor[high + 1] + 1.0 and high - peak < 40
            ):
                high += 1
            mask[max(low - 1, 0) : high + 2] = True
    return mask


def _frequency(
    line: NDArray[np.complexfloating], start: NDArray[np.int64], peak: int, size: int, rate_hz: int
) -> float:
    """Frequency of a steady line, Hz, from how its phase moves from window to window."""
    steps = np.diff(start)
    step = int(np.median(steps))
    turns = (line[1:] * np.conj(line[:-1]))[steps == step]
    if step <= 0 or not len(turns):
        return peak * rate_hz / size
    moved = float(np.angle((turns / np.maximum(np.abs(turns), 1e-20)).mean())) / (2 * np.pi)
    rough = peak * rate_hz / size
    spacing = rate_hz / step
    return (round(rough / spacing - moved) + moved) * spacing


def _is_mains(hz: float) -> bool:
    for mains in MAINS_HZ:
        nearest = round(hz / mains)
        if nearest >= 1 and abs(hz - nearest * mains) < 0.15 + 0.002 * hz:
            return True
    return False


def _running_median(values: Floats, width: int) -> Floats:
    half = width // 2
    padded = np.pad(values, half, mode="reflect") if len(values) > half else np.pad(values, half, "edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1))
