"""How far to trust a finding: agreement between independent kinds of evidence, put into a word."""

from __future__ import annotations

from msgspec import Struct

from lagline.analysis.joint import JointAnswer
from lagline.analysis.match import DARK_HZ, MANY_WINDOWS
from lagline.analysis.pairs import PairAnswer
from lagline.session.findings import TrustWord

STRONG, USABLE, WEAK = 0.96, 0.8, 0.4  # chances of being right
AGREED, SURE = 0.6, 0.9  # trust of a joint answer that stands by itself, and of one beyond doubt
CONTRADICTED, BELIEVED = 0.3, 0.6  # chances: of one that yields after all, and of a place that is believed
MOST_UNBACKED = 0.88
SURE_HEIGHT = 0.7
FEWEST_ASKED, FEWEST_AGREE, DOUBTED = 8, 0.15, 0.45
BELONGS, LEAST_BELONGING = 0.6, 0.3  # of kinship; trust that it earns by itself
MOST_CLARITY, CLEAR_HEIGHT = 0.97, 0.5
WIDE_HZ = 1500.0
SAME, DISPUTES = 3.0, 0.3  # samples; share of the highest peak
BESIDE = 8.0  # samples: nearer peaks are the lobes of one


class Verdict(Struct, frozen=True):
    """Trust in an arrival and in its polarity, each 0..1, and the word for the first."""

    trust: float
    word: TrustWord
    polarity_trust: float


def word(trust: float) -> TrustWord:
    """The word for a trust of 0..1."""
    if trust >= STRONG:
        return "strong"
    if trust >= USABLE:
        return "usable"
    return "weak" if trust >= WEAK else "none"


REFUSED = Verdict(trust=0.0, word="none", polarity_trust=0.0)


def standing(lane: int, pairs: list[PairAnswer]) -> float:
    """How sure it is that a lane belongs to the others: the best of its pairs."""
    return max((p.kinship for p in pairs if lane in (p.first, p.second)), default=0.0)


def judge(
    lane: int,
    anchor: int,
    arrival: float,
    sigma: float,
    polarity: int,
    family: JointAnswer,
    pairs: list[PairAnswer],
) -> Verdict:
    """Trust of a lane's arrival against the anchor."""
    direct = next((p for p in pairs if {p.first, p.second} == {lane, anchor}), None)
    own = _support(direct, arrival, polarity, lane) if direct is not None else (0.0, 0.0)
    # Loops: pairs of this lane with others that agree with the joint answer.
    closing = 1.0
    for k, pair in enumerate(pairs):
        if lane in (pair.first, pair.second) and anchor not in (pair.first, pair.second):
            weight = family.weight.get(k, 0.0)
            closing *= 1 - 0.35 * weight
    loops = 1 - closing
    backed = direct is not None and _is_backed(direct, arrival, polarity, lane)
    related = direct.kinship if direct is not None else 0.0
    base = max(own[0], 0.5 * own[0] + 0.5 * loops)
    if direct is not None and backed:
        base = max(base, _clarity(direct))
    value = min(max(related, 0.8 * loops), 1.0) * base
    if sigma > 0:
        value *= 1 / (1 + (sigma / 40.0) ** 2)
    if direct is None or direct.match is None or direct.match.high_hz < DARK_HZ:
        value = min(value, MOST_UNBACKED)
    if not backed or (direct is not None and _is_disputed(direct)):
        # First sounds or loops alone: right for the ear, but not beyond doubt.
        value = min(value, MOST_UNBACKED)
    if len(family.lanes) > 2 and min(standing(lane, pairs), standing(anchor, pairs)) > BELONGS:
        # It belongs to the take beyond doubt, though where it lies is not sure: a weak answer, not a refusal.
        value = max(value, LEAST_BELONGING)
    return Verdict(
        trust=value,
        word=word(value),
        polarity_trust=own[1],
    )


def doubted(verdict: Verdict, agreeing: int, used: int) -> Verdict:
    """The verdict after asking stretches of the take one by one: an answer that hardly any of them gives is
    weak, whatever all together say.

    Parameters
    ----------
    agreeing, used : stretches that agree, and those that could be asked.
    """
    if used < FEWEST_ASKED or agreeing > FEWEST_AGREE * used or verdict.trust <= DOUBTED:
        return verdict
    return Verdict(trust=DOUBTED, word=word(DOUBTED), polarity_trust=verdict.polarity_trust)


def _clarity(pair: PairAnswer) -> float:
    """Trust that a clear match over a wide band earns by how far its peak stands above all others.

    Read off generated takes: where the next peak reaches less than nine tenths, all such answers were right.
    """
    match = pair.match
    if match is None or not pair.is_clean or match.bandwidth_hz < WIDE_HZ or match.effective < MANY_WINDOWS:
        return 0.0
    top = match.coherent[0]
    if top.height < CLEAR_HEIGHT:
        return 0.0
    rival = max((p.height for p in match.coherent if abs(p.arrival - top.arrival) > BESIDE), default=0.0)
    return MOST_CLARITY - 0.35 * max(rival / top.height - 0.55, 0.0)


def _is_disputed(pair: PairAnswer) -> bool:
    """Whether plain correlation stands at another of the match's own peaks: one lane's bleed may be brighter
    than what the lane is there for, and then the weighted match follows the bleed."""
    match = pair.match
    if match is None or not match.plain or not match.coherent:
        return False
    plain, top = match.plain[0], match.coherent[0]
    away = [p for p in match.coherent[1:] if abs(p.arrival - top.arrival) > BESIDE]
    return any(abs(p.arrival - plain.arrival) < SAME and p.height > DISPUTES * top.height for p in away)


def _is_backed(pair: PairAnswer, arrival: float, polarity: int, lane: int) -> bool:
    """Whether a clear match lies at the arrival, and first sounds (if there are any) do not contradict."""
    if pair.match is None or not pair.match.coherent:
        return False
    expected = (-arrival if pair.first == lane else arrival) - pair.offset
    top = pair.match.untoned or pair.match.coherent[0]
    if pair.match.turn is not None:
        return abs(pair.match.turn.lag - expected) < 3.0
    if abs(top.arrival - expected) > 3.0 or top.polarity != polarity:
        return False
    near = [v for v in pair.votes.places if abs(v.arrival - top.arrival) < max(3 * v.sigma, 4.0)]
    first_sounds_agree = any(v.support > 0.5 for v in near)
    return first_sounds_agree or (pair.is_clean and not pair.votes.places) or top.height > SURE_HEIGHT


def _support(pair: PairAnswer, arrival: float, polarity: int, lane: int) -> tuple[float, float]:
    """Trust and polarity trust that the pair itself gives the arrival."""
    flip = pair.first == lane
    expected = -arrival if flip else arrival
    kinds: dict[str, float] = {}
    polarity_for = 0.0
    for c in pair.candidates:
        away = abs(c.arrival - expected)
        if away > max(3 * c.sigma, 6.0):
            continue
        kind = "first sound" if c.kind == "first sound" else "match"
        kinds[kind] = max(kinds.get(kind, 0.0), c.score)
        if c.polarity == polarity:
            polarity_for = max(polarity_for, c.polarity_trust)
    missing = 1.0
    for score in kinds.values():
        missing *= 1 - min(score, 0.99)
    return 1 - missing, polarity_for
