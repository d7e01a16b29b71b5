"""One judge over all witnesses: how likely each place is the right one.

Boosted trees, fitted by tests/benchmarks/fit_judge.py on takes whose truth is known; what they hold is in
judge.json beside this file, with what they were fitted on.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import msgspec
import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis import trust
from lagline.analysis.verdict.features import Case

Floats = NDArray[np.float64]
MANY_LANES = 5
NO_DOUBT = 0.99  # of 339 such answers 338 were right


class Tree(Struct, frozen=True):
    """Questions level by level: `values[feature] > cut` goes right. leaf : log odds, shape (2^depth,)."""

    feature: tuple[int, ...]
    cut: tuple[float, ...]
    leaf: tuple[float, ...]


class Judge(Struct, frozen=True):
    """names : of the features, in order. start : log odds before any question. even : (slope, offset) that
    make the log odds of the best place of a lane as sure as they were right on takes left out of fitting.
    fitted_on : what, in words."""

    fitted_on: str
    names: tuple[str, ...]
    start: float
    even: tuple[float, float]
    trees: tuple[Tree, ...]

    def log_odds(self, values: Floats) -> Floats:
        """Of each place, shape (places,); `values` of shape (places, features)."""
        total = np.full(len(values), self.start)
        row = np.arange(len(values))
        for tree in self.trees:
            feature, cut = np.array(tree.feature), np.array(tree.cut)
            at = np.zeros(len(values), np.int64)
            for level in range((len(cut) + 1).bit_length() - 1):
                ask = (1 << level) - 1 + at
                at = 2 * at + (values[row, feature[ask]] > cut[ask])
            total += np.array(tree.leaf)[at]
        return total

    def chances(self, values: Floats) -> Floats:
        """How likely each place is right, 0..1, shape (places,)."""
        slope, offset = self.even
        return np.asarray(1 / (1 + np.exp(-(slope * self.log_odds(values) + offset))))


@lru_cache(maxsize=1)
def the_judge() -> Judge:
    """The one that is shipped."""
    return msgspec.json.decode(files(__package__).joinpath("judge.json").read_bytes(), type=Judge)


def is_held(case: Case) -> bool:
    """Whether many lanes that belong together beyond doubt hold the lane among them."""
    belongs = case.belongs > trust.BELONGS and case.trust >= trust.LEAST_BELONGING
    return case.answer is not None and belongs and case.family >= MANY_LANES


def chosen(chances: Floats, *, has_joint: bool, stands: bool, holds: bool, moves: bool) -> tuple[int, float]:
    """Which place is answered, and its trust.

    Parameters
    ----------
    chances : of the places; the first is that of all lanes together where there is one (`has_joint`).
    stands : that one is believed by itself; holds : many lanes that belong together hold it. Either way it
        yields only to clear odds, for takes are recorded in more ways than the judge was fitted on, and is
        weak at least.
    moves : it goes with the take, as no other can.
    """
    best = int(np.argmax(chances))
    is_contradicted = chances[0] <= trust.CONTRADICTED and chances[best] >= trust.BELIEVED
    if has_joint and (moves or ((stands or holds) and not is_contradicted)):
        best = 0
    least = trust.WEAK if holds or (stands and best == 0) else 0.0
    return best, max(float(chances[best]), least)
