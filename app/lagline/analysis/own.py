"""Which source a microphone was put up for: where several peaks stand, the one its own strokes point at.

In a kit each instrument reaches two microphones at a different delay, so a match curve has a peak for each.
A spot microphone hears its own instrument loudest, and louder than its neighbours hear it (common practice,
no source); windows are weighed by both.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lagline.analysis.scan import Floats

QUIETEST_DB = -40.0
LOUD = 1.0  # exponent of a lane's level
LOUD_OF_TWO = 4.0  # and where there are no other lanes to compare with
CHOOSY = 12  # exponent of the share that tells how choosy a lane is
FEW = 3  # strokes of its own that a lane must have
ALONE = (
    4.0  # exponent of its share beside the loudest other lane: strokes that others hear too are not its own
)


def own_weights(levels_db: Floats, first: int, second: int) -> Floats:
    """Weight of each window by how far it holds the own instrument of the choosier of two lanes.

    Parameters
    ----------
    levels_db : of every lane in every window, as `levels_of` gives them, shape (lanes, windows).
    first, second : the two lanes.

    Returns
    -------
    shape (windows,), 0..1. A lane that hears something louder than its neighbours do (a spot microphone) has
    more to say than one that hears everything alike (an overhead).
    """
    if not levels_db.shape[1]:
        return np.zeros(0)
    pair = (first, second)
    others = np.delete(levels_db, pair, axis=0)
    if not len(others):
        # A lane whose level differs more from window to window is the spot microphone of two.
        choosy = [max(float(np.var(levels_db[lane])), 1.0) for lane in pair]
        weights = [LOUD_OF_TWO * levels_db[lane] for lane in pair]
    else:
        near = 10 ** (others.max(axis=0) / 20)
        alone = [own / (own + near) for own in (10 ** (levels_db[lane] / 20) for lane in pair)]
        choosy = [float(np.sort(share)[-FEW:].mean()) ** CHOOSY for share in alone]
        weights = [
            LOUD * levels_db[lane] + ALONE * 20 * np.log10(share)
            for lane, share in zip(pair, alone, strict=True)
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
