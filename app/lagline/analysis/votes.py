"""First sounds of two lanes compared attack by attack, and what the attacks agree on.

In a take of several instruments the attacks fall into groups with different arrivals, so the answer is the
place where most of the (shared) energy votes together, with the other places kept as runners-up.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from lagline.analysis.onsets import READINGS, Picks
from lagline.analysis.scan import Floats

NEAR_S = 0.00015  # votes within this of each other mean the same place
OWN_SAY = 0.5
LEAST_SPREAD = 0.4  # samples: no first sound is read more sharply than this


class Vote(Struct, frozen=True):
    """A place that attacks agree on.

    arrival : samples by which the second lane begins later. sigma : its uncertainty in samples.
    support : share of the voting weight (0..1). count : attacks behind it. polarity : of the first
    half-waves, +1 or -1; polarity_share : -1..1, weighted mean of the signs (near 0: they disagree).
    """

    arrival: float
    sigma: float
    support: float
    count: int
    polarity: int
    polarity_share: float


class Votes(Struct, frozen=True):
    """All places, best supported first; and each attack's own reading (NaN where there is none)."""

    places: tuple[Vote, ...]
    each: Floats
    weight: Floats
    heard: int  # attacks at which both lanes have a first sound


NO_VOTES = Votes(places=(), each=np.zeros(0), weight=np.zeros(0), heard=0)


def compare(
    first: Picks, second: Picks, residual: Floats, rate_hz: int, reach: float, own: Floats | None = None
) -> Votes:
    """Votes on how much later the second lane begins.

    Parameters
    ----------
    residual : samples to add to each attack's difference, shape (attacks,) (what the cutting took out).
    reach : votes farther than this from the cutting are not believed, samples.
    own : how far each attack is of the choosier lane's own instrument, shape (attacks,), 0..1; where given,
        these have more to say.
    """
    difference = second.position - first.position
    usable = ~(first.is_cut | second.is_cut) & (first.peak > 0) & (second.peak > 0)
    difference[~usable] = np.nan
    difference[np.abs(difference) > reach] = np.nan
    finite = np.isfinite(difference)
    heard = finite.sum(axis=1) >= 3
    if not heard.any():
        return NO_VOTES
    loud_a = first.peak / max(float(first.peak[heard].max()), 1e-12)
    loud_b = second.peak / max(float(second.peak[heard].max()), 1e-12)
    weight = np.where(heard, np.sqrt(np.clip(loud_a * loud_b, 0, 1)), 0.0)
    if own is not None and heard.any():
        weight *= (own / max(float(own[heard].max()), 1e-12)) ** OWN_SAY
    sign = (first.sign * second.sign).astype(np.float64)
    each, spread = _one_per_attack(difference, heard)
    near = max(NEAR_S * rate_hz, 3.0)
    places: list[Vote] = []
    left = weight.copy()
    total = float(weight.sum())
    while len(places) < 4 and left.max() > 0:
        width = np.hypot(near, np.minimum(spread, 4 * near))
        score = np.array(
            [
                float((left * np.exp(-0.5 * ((each - at) / width) ** 2)).sum()) if w > 0 else 0.0
                for at, w in zip(np.nan_to_num(each), left, strict=True)
            ]
        )
        centre = each[int(np.argmax(score))]
        member = heard & (left > 0) & (np.abs(each - centre) < 2.5 * near)
        if not member.any():
            break
        places.append(_place(difference, member, weight, sign, spread, total))
        left[member] = 0.0
    places.sort(key=lambda vote: -vote.support)
    return Votes(
        places=tuple(_moved(vote, float(np.median(residual))) for vote in places),
        each=each + residual,
        weight=weight,
        heard=int(heard.sum()),
    )


def _moved(vote: Vote, by: float) -> Vote:
    return Vote(
        arrival=vote.arrival + by,
        sigma=vote.sigma,
        support=vote.support,
        count=vote.count,
        polarity=vote.polarity,
        polarity_share=vote.polarity_share,
    )


def _one_per_attack(difference: Floats, heard: np.ndarray) -> tuple[Floats, Floats]:
    """Median of the low readings and their spread, one an attack."""
    each = np.full(len(difference), np.nan)
    spread = np.zeros(len(difference))
    for row in np.flatnonzero(heard):
        low = difference[row, [0, 1, 2, READINGS - 1]]
        low = low[np.isfinite(low)]
        if not len(low):
            low = difference[row][np.isfinite(difference[row])]
        each[row] = np.median(low)
        spread[row] = (low.max() - low.min()) / 2
    return each, spread


def _place(
    difference: Floats,
    member: np.ndarray,
    weight: Floats,
    sign: Floats,
    spread: Floats,
    total: float,
) -> Vote:
    """One place from the attacks that agree: each kind of reading counts by how well it repeats."""
    rows = difference[member]
    weights = weight[member]
    count = int(member.sum())
    values: list[float] = []
    sigmas: list[float] = []
    for kind in range(READINGS):
        column = rows[:, kind]
        there = np.isfinite(column)
        if there.sum() * 2 < count:
            continue
        middle = float(np.median(column[there]))
        off = float(np.median(np.abs(column[there] - middle))) * 1.4826
        # Low thresholds read the first sound, high ones the first loud half-wave.
        lateness = 0.0 if kind == READINGS - 1 else 0.25 * kind
        values.append(middle)
        sigmas.append(float(np.hypot(off + lateness, LEAST_SPREAD)))
    if not values:
        middle = float(np.nanmedian(rows))
        values, sigmas = [middle], [float(np.nanmax(np.abs(rows - middle))) + LEAST_SPREAD]
    inverse = 1 / np.array(sigmas) ** 2
    arrival = _weighted_median(np.array(values), inverse)
    kinds = float(np.sqrt((inverse * (np.array(values) - arrival) ** 2).sum() / inverse.sum()))
    repeat = float(np.average(sigmas, weights=inverse)) / np.sqrt(count)
    few = float(np.median(spread[member])) / np.sqrt(count)
    share = float((weights * sign[member]).sum() / max(weights.sum(), 1e-12))
    return Vote(
        arrival=arrival,
        sigma=float(np.sqrt(repeat**2 + (0.5 * kinds) ** 2 + (0.3 * few) ** 2)),
        support=float(weights.sum() / max(total, 1e-12)),
        count=count,
        polarity=1 if share >= 0 else -1,
        polarity_share=share,
    )


def _weighted_median(values: Floats, weights: Floats) -> float:
    """Weighted median, halfway between neighbours where the weight divides there."""
    order = np.argsort(values)
    reached = np.cumsum(weights[order]) - 0.5 * weights[order]
    return float(np.interp(0.5 * weights.sum(), reached, values[order]))
