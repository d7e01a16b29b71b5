"""What combinations are sorted by: the figure of each order, best first."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Literal

from lagline.combinations.facts import CellFacts

Order = Literal["size", "notch", "ripple", "low", "middle", "high", "mono", "width", "crest", "loudness"]
Figure = Callable[[CellFacts], float]


def _depth(one: CellFacts) -> float:
    return one.notches[0].depth_db if one.notches else 0.0


FIGURES: dict[Order, Figure] = {
    "size": lambda one: len(one.cell.parts),
    "notch": _depth,
    "ripple": lambda one: one.ripple_db,
    "low": lambda one: -one.summing_gain_db[0],
    "middle": lambda one: -one.summing_gain_db[1],
    "high": lambda one: -one.summing_gain_db[2],
    "mono": lambda one: -one.mono_worst_db,
    "width": lambda one: -one.width,
    "crest": lambda one: -one.crest_db,
    "loudness": lambda one: -one.loudness_lufs,
}


def last_if_none(value: float) -> float:
    """The value; what there is no figure for comes last."""
    return math.inf if math.isnan(value) else value
