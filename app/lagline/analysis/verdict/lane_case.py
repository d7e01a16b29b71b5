"""One lane against the anchor before it is judged: the joint answer, and all that is known of it."""

from __future__ import annotations

from msgspec import Struct

from lagline.analysis import trust
from lagline.analysis.lane_answer import LaneAnswer, lane_answer, pair_of, widened
from lagline.analysis.match import MANY_WINDOWS
from lagline.analysis.measured import Measured
from lagline.analysis.over_time import OverTime, over_time
from lagline.analysis.pairs import PairAnswer
from lagline.analysis.trust import Verdict
from lagline.analysis.verdict.features import JOINT, Case
from lagline.analysis.verdict.witnesses import Stretch, ask

NO_DOUBT_HEIGHT, NO_DOUBT_HZ = 0.9, 5000.0  # of a match that no further witness is asked about


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
