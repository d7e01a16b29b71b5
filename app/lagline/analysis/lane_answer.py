"""One lane against the anchor: the joint answer seen through their own pair."""

from __future__ import annotations

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from lagline.analysis.joint import JointAnswer
from lagline.analysis.pairs import LEAST_KINSHIP, OWN_STROKES, Candidate, PairAnswer
from lagline.session.findings import RunnerUp

MOST_RUNNERS_UP = 5
LISTED_APART = 0.3  # samples: nearer places are one
OWN_HEIGHT, OWN_CLEAR = 0.4, 0.88  # of the match over a lane's own strokes, and of the next peak beside it
OWN_SUPPORT = 0.4  # of its first sounds, which must agree
OTHER_S = 0.0004  # places farther apart belong to other sources
SAME_S = 0.00004  # clear peaks this near are one
WIDE_HZ = 1500.0  # a pair that agrees over less has no opinion of its own against all the others


class LaneAnswer(Struct, frozen=True):
    """One lane against the anchor: the joint answer seen through their own pair."""

    lane: int
    arrival: float
    sigma: float
    polarity: int
    family: JointAnswer
    pair: PairAnswer | None  # of the anchor and the lane
    flip: bool  # the pair is stored lane first, anchor second


def lane_answer(
    family: JointAnswer, pairs: list[PairAnswer], anchor: int, lane: int, rate_hz: int
) -> LaneAnswer | None:
    """What the joint solution says of a lane against the anchor; None if the lane isn't in `family`."""
    if lane not in family.lanes:
        return None
    here, there = family.lanes.index(lane), family.lanes.index(anchor)
    pair = pair_of(pairs, anchor, lane)
    flip = pair is not None and pair.first == lane
    answer = LaneAnswer(
        lane=lane,
        arrival=float(family.arrival[here] - family.arrival[there]),
        sigma=max(float(np.hypot(family.sigma[here], family.sigma[there])), 0.01),
        polarity=family.polarity[here] * family.polarity[there],
        family=family,
        pair=pair,
        flip=flip,
    )
    own = _own_opinion(answer, rate_hz)
    if own is None:
        return answer
    return replace(answer, arrival=seen(own, flip), sigma=own.sigma, polarity=own.polarity)


def _own_opinion(answer: LaneAnswer, rate_hz: int) -> Candidate | None:
    """The pair's own candidate where it is clear and not what all lanes together say.

    In a kit a lane lies differently against the anchor for each instrument; what the two lanes say most
    clearly of each other is what they add up to in the blend.
    """
    pair = answer.pair
    if pair is not None and not pair.is_clean:
        return _own_strokes(answer, pair, rate_hz)
    if pair is None or pair.kinship < LEAST_KINSHIP:
        return None
    if pair.match is None or pair.match.bandwidth_hz < WIDE_HZ:
        return None
    best = pair.candidates[0]
    near = max(SAME_S * rate_hz, 4 * best.sigma)
    if best.kind == "first sound" or abs(seen(best, answer.flip) - answer.arrival) < near:
        return None
    agreeing = [c.score for c in pair.candidates if abs(seen(c, answer.flip) - answer.arrival) < near]
    return best if max(agreeing, default=0.0) < best.score else None


def _own_strokes(answer: LaneAnswer, pair: PairAnswer, rate_hz: int) -> Candidate | None:
    """What the lane's own strokes say where all strokes together, with others' bleed, say something else."""
    if pair.match is None or pair.kinship < LEAST_KINSHIP or not pair.match.alone:
        return None
    top = pair.match.alone[0]
    own = next((c for c in pair.candidates if c.kind == OWN_STROKES), None)
    other = OTHER_S * rate_hz
    if own is None or abs(seen(own, answer.flip) - answer.arrival) < other:
        return None
    rivals = [p.height for p in pair.match.alone[1:] if abs(p.arrival - top.arrival) > other]
    if top.height < OWN_HEIGHT or max(rivals, default=0.0) > OWN_CLEAR * top.height:
        return None
    agree = any(v.support > OWN_SUPPORT and abs(v.arrival - top.arrival) < other for v in pair.votes.places)
    return own if agree else None


def widened(answer: LaneAnswer, rate_hz: int) -> LaneAnswer:
    """The answer with an uncertainty that covers how far its two readings lie apart."""
    first, best = readings(answer, rate_hz)
    if first is None or best is None:
        return answer
    return replace(answer, sigma=float(np.hypot(answer.sigma, 0.35 * abs(first - best))))


def disagreement(answer: LaneAnswer) -> float:
    """How far the answer lies from what its own pair would rather say, samples."""
    if answer.pair is None or not answer.pair.candidates:
        return 0.0
    return abs(seen(answer.pair.candidates[0], answer.flip) - answer.arrival)


def seen(candidate: Candidate, flip: bool) -> float:
    """A candidate's arrival in samples, positive = the lane is late; `flip`: the pair has the lane first."""
    return -candidate.arrival if flip else candidate.arrival


def readings(answer: LaneAnswer, rate_hz: int) -> tuple[float | None, float | None]:
    """First sound and best fit of the lane's own pair, nearest to the answer."""
    if answer.pair is None:
        return None, None
    firsts = [seen(c, answer.flip) for c in answer.pair.candidates if c.kind == "first sound"]
    fits = [
        (c.score, seen(c, answer.flip))
        for c in answer.pair.candidates
        if c.kind != "first sound" and c.polarity == answer.polarity
    ]
    near = 0.0006 * rate_hz
    first = min(firsts, key=lambda v: abs(v - answer.arrival), default=None)
    if first is not None and abs(first - answer.arrival) > 2 * near:
        first = None
    close = [(score, at) for score, at in fits if abs(at - answer.arrival) <= near]
    best = max(close)[1] if close else None
    return first, best


def runners_up(answer: LaneAnswer, taken: float | None) -> tuple[RunnerUp, ...]:
    """The pair's other candidates in its order, without those beside `taken` (samples) of equal polarity."""
    if answer.pair is None:
        return ()
    found: list[RunnerUp] = []
    for c in answer.pair.candidates:
        at = seen(c, answer.flip)
        if taken is not None and abs(at - taken) < LISTED_APART and c.polarity == answer.polarity:
            continue
        if any(abs(at - r.arrival_samples) < LISTED_APART and r.polarity == c.polarity for r in found):
            continue
        found.append(RunnerUp(arrival_samples=at, polarity=c.polarity, score=c.score))
    return tuple(found[:MOST_RUNNERS_UP])


def pair_of(pairs: list[PairAnswer], a: int, b: int) -> PairAnswer | None:
    """The answer for two lanes in either order; None where they weren't measured."""
    return next((p for p in pairs if {p.first, p.second} == {a, b}), None)
