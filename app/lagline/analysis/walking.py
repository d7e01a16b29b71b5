"""A source that walks: over the whole take its peak is smeared, from stretch to stretch it moves smoothly.

Lanes that share nothing give each stretch a lag of its own; for them to lie near each other again and again
is next to impossible.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lagline.analysis.match import MANY_WINDOWS, Match
from lagline.analysis.pairs import Candidate
from lagline.analysis.scan import Floats
from lagline.analysis.spectra import LaneSpectra
from lagline.analysis.tracks import first_look, track
from lagline.analysis.windows import Windows

FASTEST = 0.0015  # seconds of arrival a second: half a metre of way a second
STILL_S = 0.0002
FEWEST = 8  # stretches
SMOOTH_SHARE = 0.6


def walks(
    first: LaneSpectra,
    second: LaneSpectra,
    windows: Windows,
    match: Match,
    size: int,
    reach: int,
    rate_hz: int,
) -> Candidate | None:
    """The middle of the way a source walks, as a candidate of the pair; None where nothing walks.

    Parameters
    ----------
    match : of the two lanes over the whole take. size : of the transform. reach : lags looked at, samples.
    Arrivals count from the cutting.
    """
    if match.effective < MANY_WINDOWS:
        return None
    seen = first_look(first, second, windows, match.each, size, reach, rate_hz)
    if len(seen.time) < FEWEST:
        return None
    lag = np.array([peaks[0].arrival for peaks in seen.peaks])
    near = _near_the_next(seen.time, lag, rate_hz)
    if near.mean() < SMOOTH_SHARE:
        return None
    kept = lag[np.append(near, False) | np.append(False, near)]
    low, high = np.quantile(kept, [0.05, 0.95])
    band = (match.weight > 0).astype(np.float64)
    groups = track(first, second, windows, match.each, band, size, reach)
    inside = [
        peaks[0].polarity * peaks[0].height
        for peaks in groups.peaks
        if low - STILL_S * rate_hz <= peaks[0].arrival <= high + STILL_S * rate_hz
    ]
    sign = float(np.sum(inside)) / max(float(np.sum(np.abs(inside))), 1e-12)
    return Candidate(
        arrival=float(np.median(kept)),
        polarity=1 if sign >= 0 else -1,
        score=float(near.mean()),
        sigma=max(float(high - low) / 4, 0.5),
        kind="match",
        polarity_trust=min(abs(sign), 0.95),
    )


def _near_the_next(time: Floats, lag: Floats, rate_hz: int) -> NDArray[np.bool_]:
    """Whether each lag lies where a walk could take it to the next one, shape (stretches - 1,)."""
    farthest = np.maximum(FASTEST * np.diff(time), STILL_S * rate_hz)
    return np.asarray(np.abs(np.diff(lag)) <= farthest)
