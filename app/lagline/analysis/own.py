"""Which source a microphone was put up for: where several peaks stand, the one its own strokes point at.

In a kit each instrument reaches two microphones at a different delay, so a match curve has a peak for each.
A spot microphone hears its own instrument loudest, and louder than its neighbours hear it (common practice,
no source); windows are weighed by both.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lagline.analysis.peaks import Peak, find_peaks
from lagline.analysis.scan import Floats
from lagline.analysis.spectra import INTERPOLATION, LaneSpectra, smoothed
from lagline.analysis.weighting import (
    coherence_of,
    weighted_cross,
    weighted_curve,
    weighted_power,
    weighting,
)

RIVAL_SHARE = 0.35  # of the highest peak: a source of its own may stand there
RIVAL_HEIGHT = 0.4
FEWEST_OWN = 4.0  # strokes of a lane's own that a match over them needs
MOST_OWN = 0.75  # of all windows
ALONE_BELOW = 0.65  # a higher peak needs no match over a lane's own strokes
SUNK = 0.8  # a peak that sinks below this beside the lane's own strokes belongs to another source
QUIETEST_DB = -40.0
LOUD = 1.0  # exponent of a lane's level
CHOOSY = 12  # exponent of the share that tells how choosy a lane is
FEW = 3  # strokes of its own that a lane must have
ALONE = 4.0  # exponent of its share beside the loudest other lane: what others hear too is not its own


def own_weights(levels_db: Floats, first: int, second: int) -> Floats:
    """Weight of each window by how far it holds the own instrument of the choosier of two lanes.

    Parameters
    ----------
    levels_db : of every lane in every window, as `levels_of` gives them, shape (lanes, windows);
        at least three lanes: what is a lane's own shows beside others.
    first, second : the two lanes.

    Returns
    -------
    shape (windows,), 0..1. A lane that hears something louder than its neighbours do (a spot microphone) has
    more to say than one that hears everything alike (an overhead).
    """
    if not levels_db.shape[1]:
        return np.zeros(0)
    pair = (first, second)
    near = 10 ** (np.delete(levels_db, pair, axis=0).max(axis=0) / 20)
    alone = [own / (own + near) for own in (10 ** (levels_db[lane] / 20) for lane in pair)]
    choosy = [float(np.sort(share)[-FEW:].mean()) ** CHOOSY for share in alone]
    weights = [
        LOUD * levels_db[lane] + ALONE * 20 * np.log10(share) for lane, share in zip(pair, alone, strict=True)
    ]
    weight_db = sum(c * w for c, w in zip(choosy, weights, strict=True)) / sum(choosy)
    return np.asarray(10 ** (np.maximum(weight_db - weight_db.max(initial=-400.0), -160.0) / 20))


def levels_of(energies: NDArray[np.float64]) -> Floats:
    """Level of each window below the lane's loudest ones, QUIETEST_DB..0.

    Parameters
    ----------
    energies : shape (lanes, windows).
    """
    count = energies.shape[1]
    if not count:
        return energies
    loud = np.sort(energies, axis=1)[:, -max(count // 20, 1) :].mean(axis=1, keepdims=True)
    share = np.where(loud > 0, energies / np.maximum(loud, 1e-30), 0.0)
    return np.asarray(np.clip(10 * np.log10(share + 1e-12), QUIETEST_DB, 0.0))


def own_peaks(
    first: LaneSpectra,
    second: LaneSpectra,
    own_weights: Floats | None,
    all_weights: Floats,
    used: NDArray[np.int64],
    peaks: tuple[Peak, ...],
    band: NDArray[np.bool_],
    width: int,
    weight: Floats,
    size: int,
    reach: int,
) -> tuple[Peak | None, tuple[Peak, ...]]:
    """What the choosier lane's own strokes say.

    Returns
    -------
    Of several sources' clear peaks the one of those strokes (None where the windows do not tell the peaks
    apart, so that they are reflections of one source), and the peaks of a match over those strokes alone.
    """
    if own_weights is None or not peaks:
        return None, ()
    is_clear = peaks[0].height > RIVAL_HEIGHT
    rivals = [p for p in peaks if p.height > RIVAL_SHARE * peaks[0].height]
    if is_clear and len(rivals) < 2:
        return None, ()
    g = own_weights[used]
    loud = g > 1e-2 * g.max(initial=0.0)
    if not loud.any():
        return None, ()
    rows, g = used[loud], g[loud]
    cross = weighted_cross(first.values[rows], second.values[rows], g)
    effective = float(g.sum() ** 2 / (g**2).sum())
    alone: tuple[Peak, ...] = ()
    # Where its own strokes are nearly all there is, they say nothing new.
    all_effective = float(all_weights.sum() ** 2 / (all_weights**2).sum())
    if peaks[0].height < ALONE_BELOW and FEWEST_OWN < effective < MOST_OWN * all_effective:
        power_a, power_b = weighted_power(first.values[rows], g), weighted_power(second.values[rows], g)
        independent = max(effective * max(0.6 * width, 1.0), 1.0)
        coherence, phase = coherence_of(cross, power_a, power_b, width, independent)
        of_own = weighting(coherence, power_a, power_b, band)
        alone = find_peaks(weighted_curve(phase, of_own, size, reach), reach, most=3, least=0.6)
    if not is_clear or len(rivals) < 2:
        return None, alone
    curve = weighted_curve(smoothed(cross, width), weight, size, reach)

    def stands(peak: Peak) -> float:
        at = round((peak.arrival + reach) * INTERPOLATION)
        return float((curve[max(at - 3, 0) : at + 4] * peak.polarity).max(initial=0.0))

    best = max(rivals, key=stands)
    height = max(stands(best), 1e-12)
    sunk = [stands(p) / height < SUNK * p.height / best.height for p in rivals if p is not best]
    return (best if any(sunk) else None), alone
