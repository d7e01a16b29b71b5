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

Floats = NDArray[np.float64]


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
