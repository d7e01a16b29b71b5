"""Boosted regression trees for a yes or no, small enough to read: fitting alone; the answer is plain data.

J. H. Friedman, "Greedy function approximation: a gradient boosting machine", Annals of Statistics 29(5),
2001, 1189-1232; leaves by one Newton step, with the penalty of T. Chen and C. Guestrin, "XGBoost", KDD 2016,
785-794 (both from memory). Trees are grown level by level over features cut into bins.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Growth:
    """trees, depth : how many and how deep. rate : share of each step taken. penalty : on a leaf, in rows'
    worth of curvature. least : curvature a leaf needs. columns, rows : shares drawn for each tree."""

    trees: int = 150
    depth: int = 4
    rate: float = 0.08
    penalty: float = 4.0
    least: float = 4.0
    columns: float = 0.4
    rows: float = 0.7
    bins: int = 32


def edges_of(values: Floats, bins: int) -> list[Floats]:
    """Where each feature is cut: between its quantiles."""
    out = []
    for column in values.T:
        cuts = np.unique(np.quantile(column, np.linspace(0, 1, bins + 1)[1:-1], method="midpoint"))
        out.append(cuts)
    return out


def boosted(
    values: Floats, right: NDArray[np.bool_], weight: Floats, grow: Growth, seed: int
) -> dict[str, Any]:
    """Fit. `values` : shape (rows, features); `weight` : of each row.

    Returns
    -------
    {"start": log odds, "trees": [{"feature", "cut", "leaf"}]}: a tree of depth d has 2^d - 1 questions
    (feature, cut: value > cut goes to 2 i + 2, else to 2 i + 1) and 2^d leaves.
    """
    rng = np.random.default_rng(seed)
    edges = edges_of(values, grow.bins)
    binned = np.stack([np.searchsorted(e, c, "left") for e, c in zip(edges, values.T, strict=True)])
    mean = float((weight * right).sum() / weight.sum())
    start = float(np.log(mean / (1 - mean)))
    score = np.full(len(values), start)
    trees = []
    for _ in range(grow.trees):
        chance = 1 / (1 + np.exp(-score))
        drawn = (rng.random(len(values)) < grow.rows) * weight
        slope, bend = drawn * (right - chance), drawn * chance * (1 - chance)
        columns = np.sort(rng.choice(len(edges), max(int(grow.columns * len(edges)), 1), replace=False))
        tree, at = _tree(binned, edges, columns, slope, bend, grow)
        score += np.array(tree["leaf"])[at]
        trees.append(tree)
    return {"start": start, "trees": trees}


def _tree(
    binned: NDArray[np.int64],
    edges: list[Floats],
    columns: NDArray[np.int64],
    slope: Floats,
    bend: Floats,
    grow: Growth,
) -> tuple[dict[str, Any], NDArray[np.int64]]:
    """One tree, and the leaf of every row."""
    at = np.zeros(binned.shape[1], np.int64)
    feature: list[int] = []
    cut: list[float] = []
    for level in range(grow.depth):
        nodes = 1 << level
        best = np.full(nodes, 1e-9)
        which, where = np.zeros(nodes, np.int64), np.full(nodes, np.iinfo(np.int64).max)
        for column in columns:
            gain, place = _best_cut(binned[column], at, nodes, slope, bend, grow)
            better = gain > best
            best[better], which[better], where[better] = gain[better], column, place[better]
        for node in range(nodes):
            none = where[node] == np.iinfo(np.int64).max
            feature.append(int(which[node]))
            cut.append(1e300 if none else float(edges[which[node]][where[node]]))
        at = 2 * at + (binned[which[at], np.arange(len(at))] > where[at])
    leaves = 1 << grow.depth
    total = np.bincount(at, slope, leaves)
    leaf = grow.rate * total / (np.bincount(at, bend, leaves) + grow.penalty)
    return {"feature": feature, "cut": cut, "leaf": [round(float(v), 5) for v in leaf]}, at


def _best_cut(
    column: NDArray[np.int64], at: NDArray[np.int64], nodes: int, slope: Floats, bend: Floats, grow: Growth
) -> tuple[Floats, NDArray[np.int64]]:
    """Of one feature, the cut of each node that gains most, and what it gains."""
    size = nodes * grow.bins
    key = at * grow.bins + column
    left = np.cumsum(np.bincount(key, slope, size).reshape(nodes, -1), axis=1)
    bent = np.cumsum(np.bincount(key, bend, size).reshape(nodes, -1), axis=1)
    whole, all_bent = left[:, -1:], bent[:, -1:]
    gain = left**2 / (bent + grow.penalty) + (whole - left) ** 2 / (all_bent - bent + grow.penalty)
    gain -= whole**2 / (all_bent + grow.penalty)
    gain[(bent < grow.least) | (all_bent - bent < grow.least)] = 0.0
    place = np.argmax(gain, axis=1)
    return gain[np.arange(nodes), place], place
