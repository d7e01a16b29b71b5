"""Peaks of a match curve."""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from lagline.analysis.scan import Floats
from lagline.analysis.spectra import INTERPOLATION


class Peak(Struct, frozen=True):
    """A peak of the match curve: arrival in samples, polarity, height 0..1."""

    arrival: float
    polarity: int
    height: float


def find_peaks(curve: Floats, reach: int, most: int = 10, least: float = 0.25) -> tuple[Peak, ...]:
    """Local extremes of either sign, highest first, with a parabola through three points of the fine grid."""
    size = np.abs(curve)
    top = float(size.max()) if len(size) else 0.0
    if top <= 0:
        return ()
    inner = size[1:-1]
    at = 1 + np.flatnonzero((inner >= size[:-2]) & (inner > size[2:]) & (inner > least * top))
    at = at[np.argsort(-size[at], kind="stable")][:most]
    peaks = []
    for i in at:
        low, mid, high = size[i - 1], size[i], size[i + 1]
        bend = low - 2 * mid + high
        shift = 0.0 if bend >= 0 else 0.5 * (low - high) / bend
        peaks.append(
            Peak(
                arrival=float(i + np.clip(shift, -0.5, 0.5)) / INTERPOLATION - reach,
                polarity=1 if curve[i] >= 0 else -1,
                height=float(min(mid - 0.25 * (low - high) * shift, 1.0)),
            )
        )
    return tuple(peaks)
