"""Two spot microphones whose instruments are struck together.

Each of the two hears its own instrument first, by the way between them: alone, the instruments give equal
arrivals of opposite sign (plain geometry: neither way can be longer than the distance between the two).
Struck together, the first sounds in the two lanes are of different instruments, and the difference between
them means nothing. The waveforms still match at the right place.
"""

from __future__ import annotations

import numpy as np
from msgspec.structs import replace

from lagline.analysis.joint import JointAnswer
from lagline.analysis.pairs import LEAST_KINSHIP, Candidate, PairAnswer

MIRROR_S = 0.00012  # how exactly the two arrivals mirror each other
APART_S = 0.0004  # microphones nearer than this need no such care


def placed(family: JointAnswer, pairs: list[PairAnswer], rate_hz: int) -> JointAnswer:
    """The joint answer with such lanes put where their waveforms match.

    Of the two, the lane moves that goes less well with all the others: what most lanes hear stays.
    """
    for k, pair in enumerate(pairs):
        if pair.first not in family.lanes or pair.second not in family.lanes:
            continue
        first, second = family.lanes.index(pair.first), family.lanes.index(pair.second)
        found = _match(pair, float(family.arrival[second] - family.arrival[first]), rate_hz)
        if found is None:
            continue
        arrival, sigma = family.arrival.copy(), family.sigma.copy()
        moves_second = _standing(pair.second, family, pairs) < _standing(pair.first, family, pairs)
        moved = second if moves_second else first
        if moves_second:
            arrival[second] = arrival[first] + found.arrival
        else:
            arrival[first] = arrival[second] - found.arrival
        polarity = list(family.polarity)
        polarity[moved] = found.polarity * polarity[first if moves_second else second]
        sigma[moved] = float(np.hypot(sigma[moved], MIRROR_S * rate_hz / 2))
        family = replace(
            family,
            arrival=arrival - arrival[0],
            sigma=sigma,
            polarity=tuple(polarity),
            chosen={**family.chosen, k: found},
            residual={**family.residual, k: 0.0},
        )
    return family


def _match(pair: PairAnswer, between: float, rate_hz: int) -> Candidate | None:
    """The candidate where the waveforms match, if the pair's first sounds are of two instruments.

    Parameters
    ----------
    between : what the joint answer says of the pair, samples.
    """
    if pair.match is None or not pair.match.coherent or pair.is_clean or pair.kinship < LEAST_KINSHIP:
        return None
    at = pair.match.coherent[0].arrival + pair.offset
    if abs(at) < APART_S * rate_hz or abs(between) > 0.5 * abs(at):
        return None
    alone = [v for v in pair.votes.places[1:] if abs(v.arrival + pair.offset + at) < MIRROR_S * rate_hz]
    if not any(v.count > 1 for v in alone):
        return None
    return next((c for c in pair.candidates if c.kind != "first sound" and abs(c.arrival - at) < 1.0), None)


def _standing(lane: int, family: JointAnswer, pairs: list[PairAnswer]) -> float:
    """How well a lane's pairs go with the joint answer."""
    return sum(weight for k, weight in family.weight.items() if lane in (pairs[k].first, pairs[k].second))
