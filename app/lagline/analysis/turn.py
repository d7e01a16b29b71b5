"""Lanes whose phase is turned alike across the band: neither a delay nor an inversion.

The curve of such a pair has its two halves of opposite sign beside the true lag; the envelope of the curve
(magnitude of the analytic signal) still peaks at it, and its angle there is the turn.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.scan import Floats

LEAST_TURN_RAD = np.deg2rad(35.0)  # from a plain yes or no
LEAST_HEIGHT = 0.75
LEAST_GAIN = 0.06  # of the envelope over the best peak
AROUND = 8.0  # samples


class Turn(Struct, frozen=True):
    """Lag of the envelope's peak (samples), its height (0..1), and the turn there (radians)."""

    lag: float
    height: float
    angle_rad: float


def constant_turn(
    phase: NDArray[np.complex128], weight: Floats, lag: float, best: float, size: int
) -> Turn | None:
    """The turn of a pair, where that explains it better than any delay or inversion does; else None.

    Parameters
    ----------
    phase : cross-spectrum, any magnitude. weight : of the bins. lag : of the curve's peak. best : the height
        that a delay with a yes-or-no polarity reaches.
    """
    total = float(weight.sum())
    used = np.flatnonzero(weight > 0)
    if total <= 0 or len(used) < 50:
        return None
    unit = phase[used] / np.maximum(np.abs(phase[used]), 1e-30) * weight[used]
    lags = lag + np.arange(-AROUND, AROUND + 0.125, 0.25)
    turning = unit * np.exp(2j * np.pi / size * lags[0] * used)
    step = np.exp(2j * np.pi / size * 0.25 * used)
    values = np.empty(len(lags), np.complex128)
    for i in range(len(lags)):
        values[i] = turning.sum() / total
        turning *= step
    height = np.abs(values)
    at = int(np.argmax(height))
    if at in (0, len(lags) - 1):
        return None
    low, mid, high = height[at - 1 : at + 2]
    bend = low - 2 * mid + high
    shift = 0.0 if bend >= 0 else 0.5 * (low - high) / bend
    angle = float(np.angle(values[at]))
    from_plain = min(abs(angle), np.pi - abs(angle))
    if mid < LEAST_HEIGHT or mid < best + LEAST_GAIN or from_plain < LEAST_TURN_RAD:
        return None
    return Turn(lag=float(lags[at] + 0.25 * shift), height=float(mid), angle_rad=angle)
