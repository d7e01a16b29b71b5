"""The ruling on one lane: the joint answer, or the place that the judge believes before it."""

from __future__ import annotations

from msgspec.structs import replace

from lagline.analysis import trust
from lagline.analysis.lane_answer import LaneAnswer, seen
from lagline.analysis.measured import Measured
from lagline.analysis.over_time import over_time
from lagline.analysis.pairs import breadth
from lagline.analysis.trust import Verdict
from lagline.analysis.verdict.features import ONE_PLACE, Place, features, places
from lagline.analysis.verdict.judge import NO_DOUBT, chosen, is_held, the_judge
from lagline.analysis.verdict.lane_case import Joint, Ruling, case_of, settled
from lagline.analysis.verdict.witnesses import Account, Stretch
from lagline.session.findings import SourceLag

CURVE_SIGMA, FIRST_SIGMA = 0.3, 1.0  # samples: of a peak of a phase transform; of a first sound
SIGN_S, MOST_SIGN = (
    0.0007,
    0.95,
)  # around a place, where the other sign may stand; trust in a polarity at most


def rule(measured: Measured, stretch: Stretch | None, anchor: int, one: Joint) -> Ruling | None:
    """The lane's answer, and how far to trust it; None where no witness proposes a place.

    Parameters
    ----------
    stretch : what the further witnesses hear; None where none is asked.
    """
    agreed = settled(measured, anchor, one)
    if agreed is not None and one.is_beyond_doubt and agreed.verdict.trust >= trust.SURE:
        return replace(agreed, verdict=_as_sure(agreed.verdict, NO_DOUBT))
    if stretch is None:
        return agreed
    case = case_of(measured, stretch, anchor, one, agreed)
    found = places(case)
    if not found:
        return agreed
    chances = the_judge().chances(features(case, found)[1])
    if case.pair is not None and case.pair.match is not None:
        chances *= breadth(case.pair.match)
    stands = agreed is not None and agreed.verdict.trust >= trust.AGREED
    moves = agreed is not None and agreed.is_moving
    best, chance = chosen(
        chances, has_joint=agreed is not None, stands=stands, holds=is_held(case), moves=moves
    )
    if agreed is not None and best == 0:
        return replace(agreed, verdict=_as_sure(agreed.verdict, chance))
    return _elsewhere(measured, anchor, one, case.account, found[best], chance)


def on_source(measured: Measured, stretch: Stretch, anchor: int, one: Joint, lag: SourceLag) -> Ruling:
    """The lane at the place of an instrument that was chosen: weak at least, as that was the engineer's."""
    case = case_of(measured, stretch, anchor, one, settled(measured, anchor, one))
    found = places(case)
    chances = the_judge().chances(features(case, found)[1])
    k = min(range(len(found)), key=lambda i: abs(found[i].arrival - lag.arrival_samples))
    place = Place(lag.arrival_samples, lag.polarity or found[k].polarity, "source")
    chance = float(chances[k]) if abs(found[k].arrival - lag.arrival_samples) < ONE_PLACE else 0.0
    ruling = _elsewhere(measured, anchor, one, case.account, place, max(chance, trust.WEAK))
    sigma = max(lag.uncertainty_samples, CURVE_SIGMA)
    return replace(ruling, answer=replace(ruling.answer, sigma=sigma))


def _as_sure(verdict: Verdict, chance: float) -> Verdict:
    return Verdict(trust=chance, word=trust.word(chance), polarity_trust=verdict.polarity_trust)


def _elsewhere(
    measured: Measured, anchor: int, one: Joint, said: Account, place: Place, chance: float
) -> Ruling:
    """The lane at a place that other witnesses than all lanes together put it."""
    pair = one.pair
    flip = pair is not None and pair.first == one.lane
    arrival, sigma = _fine(said, place)
    near = [
        c
        for c in (pair.candidates if pair is not None else ())
        if abs(seen(c, flip) - place.arrival) < ONE_PLACE and c.polarity == place.polarity
    ]
    sigma = min((c.sigma for c in near), default=sigma)
    span = round(SIGN_S * measured.lanes.rate_hz)
    (sign, lead), (again, lead_again) = (c.sign(place.arrival, span) for c in (said.whole, said.windowed))
    polarity, polarity_trust = place.polarity, max((c.polarity_trust for c in near), default=0.0)
    if sign == again:
        # Of lanes whose two curves agreed, with a lead of 0.15 and up, every sign was right.
        polarity, polarity_trust = sign, min(0.6 + 2 * max(lead, lead_again), MOST_SIGN)
    answer = LaneAnswer(
        lane=one.lane,
        arrival=arrival,
        sigma=sigma,
        polarity=polarity,
        family=next(f for f in measured.families if anchor in f.lanes),
        pair=pair,
        flip=flip,
    )
    course = over_time(measured.lanes, measured.cuts, answer, anchor)
    verdict = Verdict(trust=chance, word=trust.word(chance), polarity_trust=polarity_trust)
    return Ruling(answer, verdict, course, place.kind)


def _fine(said: Account, place: Place) -> tuple[float, float]:
    """The place to a fraction of a sample where a curve peaks there, and how sure it is, samples."""
    for kind, curve in (("whole", said.whole), ("windowed", said.windowed), ("apart", said.apart)):
        if place.kind == kind:
            return curve.finer(place.arrival), CURVE_SIGMA
    own = [s.uncertainty for s in said.sources if s.lag == place.arrival]
    first = [
        scatter
        for lag, scatter in (
            (said.first.lag, said.first.scatter),
            (said.first.alone, said.first.alone_scatter),
        )
        if lag == place.arrival
    ]
    return place.arrival, max(min([*own, *first], default=FIRST_SIGMA), CURVE_SIGMA)
