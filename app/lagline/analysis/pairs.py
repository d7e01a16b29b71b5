"""One pair of lanes: correlation and first sounds brought together into candidates, and their kinship."""

from __future__ import annotations

import math

from msgspec import Struct
from msgspec.structs import replace

from lagline.analysis.chance import UNKNOWN, Kin
from lagline.analysis.match import DARK_HZ, MANY_WINDOWS, Match, is_tall
from lagline.analysis.peaks import Peak
from lagline.analysis.votes import NO_VOTES, Vote, Votes

LEAST_KINSHIP = 0.5  # from here on two lanes belong together
CLEAN_HEIGHT = 0.45  # above this a match curve of many windows speaks for itself
FEW_CLEAN_HEIGHT = 0.62  # and of few
OWN_STROKES = "own strokes"


class Candidate(Struct, frozen=True):
    """A possible arrival of the second lane against the first.

    score : 0..1 within the pair. sigma : samples. kind : what speaks for it ("match", "first sound", "both",
    or "own strokes": a match over those of one of the two lanes alone).
    """

    arrival: float
    polarity: int
    score: float
    sigma: float
    kind: str
    polarity_trust: float = 0.0


class PairAnswer(Struct, frozen=True):
    """What a pair says, candidates best first; empty when the lanes have nothing to do with each other."""

    first: int
    second: int
    candidates: tuple[Candidate, ...]
    kinship: float  # 0..1: how sure it is that both hear one source
    is_clean: bool
    match: Match | None = None
    votes: Votes = NO_VOTES
    kin: Kin = UNKNOWN
    timing: float = 0.0
    offset: float = 0.0  # what the cutting took out; match and votes count from there


def kinship(
    match: Match,
    votes: Votes,
    kin: Kin,
    timing: float,
    *,
    is_attacks: bool,
    is_far: bool,
    is_alone: bool,
) -> float:
    """Probability-like 0..1 that the lanes share a source.

    A logistic sum of independent kinds of evidence; its weights were fitted on real recordings (lanes of one
    take, of halves of it, and of different takes on one beat, down to single strokes) and rounded.
    """
    if not match.coherent:
        return 0.0
    power = min(1.0, max(kin.windows - 2, 0) / 5)  # a test with few windows says little
    # Lanes among others were put into one take for a reason; of two, a few strokes prove nothing.
    untested = 1 - power if is_alone and not is_tall(match) else 0.0
    own = min(max(kin.deviation, -1.0), 8.0) * power
    lift = math.log(max(match.coherent[0].height, 1e-6) / max(match.chance, 0.02))
    place = votes.places[0] if votes.places else None
    total = -3.4 + 1.15 * own + 2.8 * min(lift, 2.0) - 2.0 * untested
    if place is None or place.count < 2:
        total -= 1.5 * untested  # one stroke of each looks like any other
    if is_attacks:
        gated = math.log(max(match.gate_ratio, 1e-3))
        repeats = place is not None and (place.count >= 2 or votes.heard == 1) and place.support >= 0.3
        if repeats and place is not None:
            gate = gated / max(match.gate_sigma, 0.15)
            total += 0.72 * min(max(gate, -2.0), 8.0) + 0.4 * min(max(timing, 0.0), 10.0)
            total += 0.1 * min(place.count, 6)
        if is_alone and not votes.heard:
            # No first sound to go by: the match must stand well above borrowed ones.
            total += 1.5 * min(max(gated - math.log(2.0), -1.5), 1.0)
    if match.effective >= MANY_WINDOWS and match.high_hz > DARK_HZ:
        # A tall narrow peak over many windows, far above what borrowed windows reach, speaks for itself.
        tall = _logistic((match.coherent[0].height - CLEAN_HEIGHT) / 0.03)
        total += 6.0 * tall * _logistic((lift - math.log(2.2)) / 0.1)
    if is_far:  # the place was looked for over the whole take, so some agreement comes by itself
        total -= 1.5 + 1.5 * untested
    return _logistic(total) * breadth(match)


def breadth(match: Match) -> float:
    """0..1: near 0 where two lanes agree on a few lines alone, as on a common hum: any lag fits those."""
    return _logistic((match.bandwidth_hz - 150) / 40)


def answer(
    first: int,
    second: int,
    match: Match | None,
    votes: Votes,
    kin: Kin,
    timing: float,
    rate_hz: int,
    *,
    is_attacks: bool,
    is_far: bool,
    is_alone: bool,
) -> PairAnswer:
    """Candidates of a pair, best first.

    Parameters
    ----------
    is_attacks : the windows stand at attacks. is_far : the lanes were brought together by coarse search.
    is_alone : no other lane of the take sounds.
    """
    if match is None or not match.coherent:
        return PairAnswer(first=first, second=second, candidates=(), kinship=0.0, is_clean=False)
    top = match.coherent[0]
    related = kinship(match, votes, kin, timing, is_attacks=is_attacks, is_far=is_far, is_alone=is_alone)
    least = CLEAN_HEIGHT if match.effective >= MANY_WINDOWS else FEW_CLEAN_HEIGHT
    height = top.height if match.untoned is None else match.untoned.height
    height = height if match.turn is None else match.turn.height
    is_clean = height > max(least, 2 * match.chance) and match.high_hz > DARK_HZ
    candidates = _candidates(match, votes, is_clean, rate_hz)
    return PairAnswer(
        first=first,
        second=second,
        candidates=candidates,
        kinship=related,
        is_clean=is_clean,
        match=match,
        votes=votes,
        kin=kin,
        timing=timing,
    )


def _candidates(match: Match, votes: Votes, is_clean: bool, rate_hz: int) -> tuple[Candidate, ...]:
    near = max(0.0003 * rate_hz, 4.0)
    top = match.coherent[0].height
    peaks = match.coherent
    own = match.own if match.own is not None and match.own != match.coherent[0] else None
    if match.untoned is not None and own is None:
        # The same peak without what the tone did to it; the toned one stays as a runner-up.
        peaks = (match.untoned, *(replace(p, height=0.6 * p.height) for p in match.coherent))
        top = match.untoned.height
    if match.loudest is not None and own is None:
        peaks = (match.loudest, *(replace(p, height=0.6 * p.height) for p in match.coherent))
        top = match.loudest.height
    if match.turn is not None:
        turned = Peak(match.turn.lag, 1 if math.cos(match.turn.angle_rad) >= 0 else -1, match.turn.height)
        peaks = (turned, *(replace(p, height=0.6 * p.height) for p in match.coherent))
        top = turned.height
    width = max(0.44 * rate_hz / max(match.bandwidth_hz, 1.0), 0.5)
    peak_sigma = width / math.sqrt(max(match.effective, 1.0)) * (0.1 if is_clean else 0.6) + 0.02
    found: list[Candidate] = []
    best_vote = votes.places[0] if votes.places else None
    heard = best_vote is not None and best_vote.support >= 0.4 and (best_vote.count >= 2 or votes.heard == 1)
    for vote in votes.places:
        found.append(_from_vote(vote, match, near, is_clean))
    direct = own or match.loudest or match.direct or _first_heard(peaks, votes)
    for peak in peaks:
        close = [v for v in votes.places if abs(v.arrival - peak.arrival) < max(min(3 * v.sigma, near), 4.0)]
        support = max((v.support for v in close), default=0.0)
        base = peak.height if is_clean else 0.6 * peak.height / top * min(top / 0.3, 1.0)
        if is_clean and direct is not None:
            base = top if peak == direct else 0.7 * peak.height
        if (
            heard
            and not is_clean
            and not any(abs(v.arrival - peak.arrival) < max(3 * v.sigma, 2 * near) for v in votes.places)
        ):
            base *= 0.5  # a strong reflection or ringing, not the sound that comes first
        found.append(
            Candidate(
                arrival=peak.arrival,
                polarity=peak.polarity,
                score=min(base + 0.25 * support * (1 - base), 1.0),
                sigma=peak_sigma,
                kind="both" if close else "match",
                polarity_trust=min(peak.height / top, 1.0) * (0.95 if is_clean else 0.6),
            )
        )
    if match.plain:
        best = match.plain[0]
        if all(abs(best.arrival - c.arrival) > 1 or best.polarity != c.polarity for c in found):
            found.append(
                Candidate(best.arrival, best.polarity, 0.25, peak_sigma * 2, "match", polarity_trust=0.4)
            )
    if match.halfway is not None:
        found.append(Candidate(match.halfway.arrival, match.halfway.polarity, 0.2, peak_sigma, "match", 0.4))
    if match.alone and not is_clean:
        best = match.alone[0]
        found.append(Candidate(best.arrival, best.polarity, 0.3, peak_sigma, OWN_STROKES, polarity_trust=0.5))
    found.sort(key=lambda c: -c.score)
    return tuple(found[:12])


def _first_heard(peaks: tuple[Peak, ...], votes: Votes) -> Peak | None:
    """A lower peak that first sounds point at while none points at the highest."""
    if not peaks or not votes.places or votes.heard < 3:
        return None
    if any(abs(v.arrival - peaks[0].arrival) < 8.0 for v in votes.places if v.support > 0.15):
        return None
    pointed = [
        p
        for p in peaks[1:]
        if p.height > 0.4 * peaks[0].height
        and sum(v.support for v in votes.places if abs(v.arrival - p.arrival) < 10.0) > 0.5
    ]
    return max(pointed, key=lambda p: p.height, default=None)


def _from_vote(vote: Vote, match: Match, near: float, is_clean: bool) -> Candidate:
    """A first sound as a candidate, with the polarity that correlation close to it and half-waves give."""
    sharp = 1 / (1 + (vote.sigma / 12.0) ** 2)
    many = 1 - 0.5**vote.count
    score = vote.support * sharp * (0.55 + 0.45 * many) * (0.35 if is_clean else 0.95)
    polarity, trust = vote_polarity(vote, match.coherent, near)
    return Candidate(
        arrival=vote.arrival,
        polarity=polarity,
        score=min(score, 1.0),
        sigma=vote.sigma,
        kind="first sound",
        polarity_trust=trust,
    )


def vote_polarity(vote: Vote, peaks: tuple[Peak, ...], near: float) -> tuple[int, float]:
    """Polarity at a first sound and its trust: half-waves, then correlation near the place."""
    evidence = 1.2 * vote.polarity_share * (1 - 0.5**vote.count)
    close = [p for p in peaks if abs(p.arrival - vote.arrival) < max(2 * near, 2 * vote.sigma)]
    total = sum(p.height for p in close)
    if total > 0:
        strongest = max(close, key=lambda p: p.height)
        evidence += 0.8 * strongest.polarity * strongest.height / total
    return (1 if evidence >= 0 else -1), min(abs(evidence) / 2.0, 0.97)


def _logistic(x: float) -> float:
    return 1 / (1 + math.exp(-max(min(x, 40.0), -40.0)))


def nearest(candidates: tuple[Candidate, ...], arrival: float) -> Candidate | None:
    """The candidate nearest to an arrival."""
    return min(candidates, key=lambda c: abs(c.arrival - arrival), default=None)
