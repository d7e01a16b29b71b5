"""One consistent set of arrivals from many pairs.

Consensus first (each lane at the place that most of its pairs allow), then weighted least squares that
lets go of pairs that disagree (iteratively reweighted, Cauchy weights; P. W. Holland and R. E. Welsch,
"Robust regression using iteratively reweighted least-squares", Communications in Statistics A6, 1977).
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from lagline.analysis.pairs import LEAST_KINSHIP, Candidate, PairAnswer
from lagline.analysis.scan import Floats

ROUNDS = 12


class JointAnswer(Struct, frozen=True):
    """Arrivals of the lanes of one family, relative to its first member.

    lanes : indices. arrival, sigma : samples, in the order of `lanes`. polarity : +1 or -1.
    chosen : for each pair (by index) the candidate used; residual : samples left over; weight : 0..1.
    """

    lanes: tuple[int, ...]
    arrival: Floats
    sigma: Floats
    polarity: tuple[int, ...]
    chosen: dict[int, Candidate]
    residual: dict[int, float]
    weight: dict[int, float]


def families(count: int, pairs: list[PairAnswer]) -> list[list[int]]:
    """Lanes joined by kinship, largest family first (single lanes too)."""
    group = list(range(count))

    def root(i: int) -> int:
        while group[i] != i:
            i = group[i]
        return i

    for pair in pairs:
        if pair.kinship >= LEAST_KINSHIP and pair.candidates:
            group[root(pair.first)] = root(pair.second)
    found: dict[int, list[int]] = {}
    for i in range(count):
        found.setdefault(root(i), []).append(i)
    return sorted(found.values(), key=len, reverse=True)


def solve(lanes: list[int], pairs: list[PairAnswer], near: float) -> JointAnswer:
    """Arrivals of one family.

    Parameters
    ----------
    lanes : of the family, joined through pairs of enough kinship.
    near : samples within which candidates mean the same place.
    """
    inside = [
        (k, pair)
        for k, pair in enumerate(pairs)
        if pair.first in lanes and pair.second in lanes and pair.candidates and pair.kinship >= 0.25
    ]
    start = _tree(lanes, inside)
    place, polarity = _consensus(lanes, inside, start, near)
    chosen: dict[int, Candidate] = {}
    for k, pair in inside:
        expected = place[pair.second] - place[pair.first]
        sign = polarity[pair.second] * polarity[pair.first]
        best = max(pair.candidates, key=lambda c: _fit(c, expected, sign, near))
        if _fit(best, expected, sign, near) > 0.02:
            chosen[k] = best
    arrival, sigma, residual, weight = _least_squares(lanes, pairs, chosen, place)
    for k, pair in inside:
        if k not in chosen:
            expected = arrival[lanes.index(pair.second)] - arrival[lanes.index(pair.first)]
            chosen[k] = pair.candidates[0]
            residual[k] = pair.candidates[0].arrival - expected
            weight[k] = 0.0
    return JointAnswer(
        lanes=tuple(lanes),
        arrival=arrival,
        sigma=sigma,
        polarity=tuple(polarity[i] for i in lanes),
        chosen=chosen,
        residual=residual,
        weight=weight,
    )


def _fit(candidate: Candidate, expected: float, sign: int, near: float) -> float:
    """How well a candidate goes with an expected arrival and sign."""
    width = np.hypot(near, 2 * candidate.sigma)
    away = (candidate.arrival - expected) / width
    same = 1.0 if candidate.polarity == sign else 1.0 - 0.6 * candidate.polarity_trust
    return float(candidate.score * same / (1 + away**2) if abs(away) < 4 else 0.0)


def _tree(lanes: list[int], inside: list[tuple[int, PairAnswer]]) -> dict[int, tuple[float, int]]:
    """First guess: along the best pairs, outward from the lane with the best of them."""
    ranked = sorted(inside, key=lambda kp: -kp[1].kinship * kp[1].candidates[0].score)
    known: dict[int, tuple[float, int]] = {}
    if not ranked:
        return dict.fromkeys(lanes, (0.0, 1))
    known[ranked[0][1].first] = (0.0, 1)
    while len(known) < len(lanes):
        for _, pair in ranked:
            ahead, behind = pair.first in known, pair.second in known
            if ahead == behind:
                continue
            best = pair.candidates[0]
            if ahead:
                at, sign = known[pair.first]
                known[pair.second] = (at + best.arrival, sign * best.polarity)
            else:
                at, sign = known[pair.second]
                known[pair.first] = (at - best.arrival, sign * best.polarity)
            break
        else:
            for i in lanes:
                known.setdefault(i, (0.0, 1))
    return known


def _consensus(
    lanes: list[int],
    inside: list[tuple[int, PairAnswer]],
    start: dict[int, tuple[float, int]],
    near: float,
) -> tuple[dict[int, float], dict[int, int]]:
    """Move each lane to where most of its pairs allow it, until none moves."""
    place = {i: start[i][0] for i in lanes}
    polarity = {i: start[i][1] for i in lanes}
    of_lane: dict[int, list[PairAnswer]] = {i: [] for i in lanes}
    for _, pair in inside:
        of_lane[pair.first].append(pair)
        of_lane[pair.second].append(pair)
    for _ in range(ROUNDS):
        moved = False
        for i in lanes:
            offers: list[tuple[float, int, float]] = []
            views: list[tuple[PairAnswer, bool, float, int]] = []
            for pair in of_lane[i]:
                is_second = pair.second == i
                other = pair.first if is_second else pair.second
                views.append((pair, is_second, place[other], polarity[other]))
                for c in pair.candidates[:8]:
                    at = place[other] + (c.arrival if is_second else -c.arrival)
                    offers.append((at, c.polarity * polarity[other], c.score))
            best = (_support(place[i], polarity[i], views, near) * 1.02, place[i], polarity[i])
            for at, sign, _ in offers:
                support = _support(at, sign, views, near)
                if support > best[0]:
                    best = (support, at, sign)
            if best[1] != place[i] or best[2] != polarity[i]:
                place[i], polarity[i] = best[1], best[2]
                moved = True
        if not moved:
            break
    return place, polarity


def _support(at: float, sign: int, views: list[tuple[PairAnswer, bool, float, int]], near: float) -> float:
    total = 0.0
    for pair, is_second, other, other_sign in views:
        expected = at - other if is_second else other - at
        total += pair.kinship * max(_fit(c, expected, sign * other_sign, near) for c in pair.candidates)
    return total


def _least_squares(
    lanes: list[int], pairs: list[PairAnswer], chosen: dict[int, Candidate], place: dict[int, float]
) -> tuple[Floats, Floats, dict[int, float], dict[int, float]]:
    index = {lane: n for n, lane in enumerate(lanes)}
    count = len(lanes)
    keys = list(chosen)
    if not keys or count == 1:
        return np.array([place[i] - place[lanes[0]] for i in lanes]), np.zeros(count), {}, {}
    rows = np.zeros((len(keys), count))
    seen = np.zeros(len(keys))
    sigma = np.zeros(len(keys))
    prior = np.zeros(len(keys))
    for r, k in enumerate(keys):
        rows[r, index[pairs[k].second]] = 1
        rows[r, index[pairs[k].first]] = -1
        seen[r] = chosen[k].arrival
        sigma[r] = max(chosen[k].sigma, 0.01)
        prior[r] = pairs[k].kinship * chosen[k].score
    arrival = np.array([place[i] for i in lanes])
    robust = np.ones(len(keys))
    for _ in range(20):
        w = prior * robust / sigma**2
        normal = rows.T @ (w[:, None] * rows)
        # Only differences are seen: the least-norm answer, then the first lane is put at 0.
        arrival = np.linalg.pinv(normal, rcond=1e-12, hermitian=True) @ (rows.T @ (w * seen))
        off = (seen - rows @ arrival) / np.maximum(sigma, 0.3)
        robust = 1 / (1 + (off / 2.5) ** 2)
    covariance = np.linalg.pinv(rows.T @ ((robust * prior / sigma**2)[:, None] * rows))
    spread = np.array(
        [
            float(np.sqrt(max(covariance[n, n] + covariance[0, 0] - 2 * covariance[n, 0], 0)))
            for n in range(count)
        ]
    )
    left = seen - rows @ arrival
    return (
        arrival - arrival[0],
        spread,
        {k: float(left[r]) for r, k in enumerate(keys)},
        {k: float(robust[r] * min(prior[r], 1)) for r, k in enumerate(keys)},
    )
