"""What the timing of attacks says about kinship: two performances on one beat also coincide, but not to a
fraction of a millisecond again and again."""

from __future__ import annotations

import numpy as np

from lagline.analysis.scan import Floats

SLOWEST_S, FASTEST_S = 2.5, 0.1  # beats that a player or a machine may keep
SHARPEST = 0.7  # samples: no pair of first sounds is compared more sharply
MOST_EVIDENCE = 15.0


def unevenness(times: Floats, rate_hz: int) -> float:
    """How far attacks stray from the best even beat, rms in samples.

    Parameters
    ----------
    times : of the attacks, samples, ascending, shape (attacks,), at least 3.
    """
    from_first = times - times[0]
    step_s = 0.0004
    beats = np.arange(FASTEST_S, SLOWEST_S, step_s) * rate_hz
    count = np.round(from_first[None, :] / beats[:, None])
    usable = count[:, -1] >= 1
    # For each count of beats the fitting beat and phase by least squares.
    mean_c = count.mean(axis=1)
    mean_t = from_first.mean()
    cov = ((count - mean_c[:, None]) * (from_first - mean_t)[None, :]).sum(axis=1)
    var = ((count - mean_c[:, None]) ** 2).sum(axis=1)
    slope = cov / np.maximum(var, 1e-9)
    left = (from_first - mean_t)[None, :] - slope[:, None] * (count - mean_c[:, None])
    degrees = max(len(times) - 2, 1)
    stray = np.sqrt((left**2).sum(axis=1) / degrees)
    stray[~usable] = np.inf
    return float(stray.min())


def timing_evidence(times: Floats, differences: Floats, rate_hz: int) -> float:
    """Logarithm of how much likelier one common source is than two performances on one beat.

    Parameters
    ----------
    times : of the first lane's first sounds at the attacks that agree, samples.
    differences : second lane's minus first's at those, samples.
    """
    count = len(times)
    if count < 3:
        return 0.0
    spread = max(float(np.median(np.abs(differences - np.median(differences)))) * 1.4826, SHARPEST)
    stray = unevenness(np.sort(times), rate_hz)
    if not np.isfinite(stray):
        return 0.0
    return float(np.clip((count - 2) * np.log(max(stray / spread, 0.1)), -3.0, MOST_EVIDENCE))
