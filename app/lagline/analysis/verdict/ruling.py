"""The ruling on one lane: the joint answer, or the place that the judge believes before it."""

from __future__ import annotations

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from lagline.analysis import trust
from lagline.analysis.lane_answer import LaneAnswer, lane_answer, pair_of, seen, widened
from lagline.analysis.match import MANY_WINDOWS
from lagline.analysis.measured import Measured
from lagline.analysis.over_time import OverTime, over_time
from lagline.analysis.pairs import PairAnswer, breadth
from lagline.analysis.scan import Floats
from lagline.analysis.trust import Verdict
from lagline.analysis.verdict.features import JOINT, ONE_PLACE, Case, Place, features, places
from lagline.analysis.verdict.judge import the_judge
from lagline.analysis.verdict.witnesses import Account, Stretch, ask

CURVE_SIGMA, FIRST_SIGMA = 0.3, 1.0  # samples: of a peak of a phase transform; of a first sound
SIGN_S, MOST_SIGN = (
    0.0007,
    0.95,
)  # around a place, where the other sign may stand; trust in a polarity at most
NO_DOUBT_HEIGHT, NO_DOUBT_HZ = 0.9, 5000.0  # of a match that no further witness is asked about
MANY_LANES = 5
NO_DOUBT = 0.99  # of 339 such answers 338 were right


class Ruling(Struct, frozen=True):
    """A lane's answer with its trust; `kind` says who proposed it."""

    answer: LaneAnswer
    verdict: Verdict
    course: OverTime
    kind: str

    @property
    def is_moving(self) -> bool:
        """Whether the arrival is not the same over the take."""
        return self.course.drift_ppm != 0 or self.course.walked != 0


class Joint(Struct, frozen=True):
    """A lane as all lanes together see it; answer : None where it is of another family than the anchor."""

    lane: int
    answer: LaneAnswer | None
    verdict: Verdict
    pair: PairAnswer | None
    wide: PairAnswer | None

    @property
    def is_beyond_doubt(self) -> bool:
        """A strong answer on a tall, sharp and well founded match."""
        match = self.pair.match if self.pair is not None else None
        if self.answer is None or match is None or not match.coherent or self.verdict.trust < trust.SURE:
            return False
        if match.effective < MANY_WINDOWS or match.bandwidth_hz < NO_DOUBT_HZ:
            return False
        return match.coherent[0].height > NO_DOUBT_HEIGHT


def joint(measured: Measured, anchor: int, lane: int) -> Joint:
    """What all lanes together say of one lane against the anchor."""
    pairs, rate = measured.pairs, measured.lanes.rate_hz
    family = next(f for f in measured.families if anchor in f.lanes)
    answer = lane_answer(family, pairs, anchor, lane, rate)
    verdict = trust.REFUSED
    if answer is not None:
        answer = widened(answer, rate)
        verdict = trust.judge(lane, anchor, answer.arrival, answer.sigma, answer.polarity, family, pairs)
    return Joint(lane, answer, verdict, pair_of(pairs, anchor, lane), pair_of(measured.wide, anchor, lane))


def settled(measured: Measured, anchor: int, one: Joint) -> Ruling | None:
    """The joint answer, asked of the take stretch by stretch; None where there is none."""
    if one.answer is None:
        return None
    course = over_time(measured.lanes, measured.cuts, one.answer, anchor)
    verdict = one.verdict
    if course.walked == 0:
        verdict = trust.doubted(verdict, course.windows.agreeing, course.windows.used)
    return Ruling(one.answer, verdict, course, JOINT)


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


def is_held(case: Case) -> bool:
    """Whether many lanes that belong together beyond doubt hold the lane where their joint answer has it."""
    belongs = case.belongs > trust.BELONGS and case.trust >= trust.LEAST_BELONGING
    return case.answer is not None and belongs and case.family >= MANY_LANES


def chosen(chances: Floats, *, has_joint: bool, stands: bool, holds: bool, moves: bool) -> tuple[int, float]:
    """Which place is answered, and its trust.

    Parameters
    ----------
    chances : of the places; the first is that of all lanes together where there is one (`has_joint`).
    stands : that one is believed by itself: it yields only to clear odds, and is weak at least, for takes are
        recorded in more ways than the judge was fitted on; any other yields unless the judge believes it too.
    holds : many lanes hold it there, so that what is said of any two of them agrees: it never yields, and is
        weak at least. moves : it goes with the take, as no other can.
    """
    best = int(np.argmax(chances))
    if not has_joint:
        return best, float(chances[best])
    own = float(chances[0])
    yields = own <= trust.CONTRADICTED and chances[best] >= trust.BELIEVED if stands else own < trust.BELIEVED
    if best == 0 or moves or holds or not yields:
        return 0, max(own, trust.WEAK if stands or holds else 0.0)
    return best, float(chances[best])


def case_of(measured: Measured, stretch: Stretch, anchor: int, one: Joint, agreed: Ruling | None) -> Case:
    """All that is known of a lane, before it is judged."""
    lane, pairs, pair = one.lane, measured.pairs, one.pair
    family = next(f for f in measured.families if anchor in f.lanes)
    windows = agreed.course.windows if agreed is not None else None
    return Case(
        answer=one.answer,
        pair=pair,
        wide=one.wide,
        flip=pair is not None and pair.first == lane,
        trust=agreed.verdict.trust if agreed is not None else 0.0,
        agreeing=windows.agreeing if windows is not None else 0,
        used=windows.used if windows is not None else 0,
        belongs=min(trust.standing(lane, pairs), trust.standing(anchor, pairs)),
        lanes=measured.lanes.silent.count(False),
        family=len(family.lanes),
        frames=measured.passage[1] - measured.passage[0],
        rate_hz=measured.lanes.rate_hz,
        account=ask(measured.cuts, stretch, anchor, lane),
    )


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
    for kind, curve in (("whole", said.whole), ("windowed", said.windowed)):
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
