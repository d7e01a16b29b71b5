"""What is known of each place a lane may lie at: numbers that the judge weighs."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.lane_answer import LaneAnswer
from lagline.analysis.match import Match
from lagline.analysis.pairs import OWN_STROKES, PairAnswer
from lagline.analysis.peaks import Peak
from lagline.analysis.verdict.witnesses import Account

JOINT = "joint"  # who proposes: all lanes together
ONE_PLACE = 1.0  # samples: nearer places are one
MOST_PLACES = 24
FARTHEST = 2000.0  # samples: farther apart is all the same


class Place(Struct, frozen=True):
    """A possible arrival of the lane against the anchor, samples, and who proposed it first."""

    arrival: float
    polarity: int
    kind: str


class Case(Struct, frozen=True):
    """One lane against the anchor with all that was heard of it.

    answer : the joint answer, None where the lane is of another family. pair, wide : of the two lanes, the
    close look and the first. trust : what the joint answer came to. flip : the pair is stored lane first.
    belongs : how sure it is that the lane, and the anchor, belong to the take. family : lanes in it.
    """

    answer: LaneAnswer | None
    pair: PairAnswer | None
    wide: PairAnswer | None
    flip: bool
    trust: float
    agreeing: int
    used: int
    belongs: float
    lanes: int
    family: int
    frames: int
    rate_hz: int
    account: Account


def places(case: Case) -> list[Place]:
    """Everywhere that any witness puts the lane: the joint answer first, then the most direct ones."""
    found: list[Place] = []

    def propose(arrival: float, polarity: int, kind: str, apart: float = ONE_PLACE) -> None:
        is_new = np.isfinite(arrival) and all(abs(arrival - p.arrival) >= apart for p in found)
        if is_new and len(found) < MOST_PLACES:
            found.append(Place(float(arrival), polarity, kind))

    said = case.account
    if case.answer is not None:
        propose(case.answer.arrival, case.answer.polarity, JOINT)
    sign = -1.0 if case.flip else 1.0
    for pair, most in ((case.pair, 6), (case.wide, 3)):
        for c in pair.candidates[:most] if pair is not None else ():
            propose(sign * c.arrival, c.polarity, c.kind)
    for source in sorted(said.sources, key=lambda s: -(s.of_lane + s.of_anchor)):
        propose(source.lag, source.polarity or 1, OWN_STROKES if source.of_lane else "source")
    for kind, curve, most in (
        ("whole", said.whole, 3),
        ("windowed", said.windowed, 3),
        ("apart", said.apart, 2),
    ):
        for lag, polarity, _ in curve.peaks[:most]:
            propose(lag, polarity, kind)
    propose(said.first.lag, _sign(said.whole.near(said.first.lag)), "first sounds", 3 * ONE_PLACE)
    propose(said.first.alone, _sign(said.whole.near(said.first.alone)), "first sounds", 3 * ONE_PLACE)
    return found


def _sign(value: float) -> int:
    return 1 if value >= 0 else -1


def _far(a: float, b: float | None) -> float:
    """How far apart two places are, so that it can be compared from a hundredth to thousands of samples."""
    if b is None or not np.isfinite(b):
        return -1.0
    return math.log1p(min(abs(a - b), FARTHEST))


def _of_case(case: Case) -> dict[str, float]:
    """What is the same for every place of the lane."""
    said, pair, wide = case.account, case.pair, case.wide
    match = pair.match if pair is not None else None
    look = wide.match if wide is not None else None
    whole, windowed, apart = said.whole.peaks, said.windowed.peaks, said.apart.peaks
    return {
        "lanes": float(case.lanes),
        "family": float(case.family),
        "trust": case.trust,
        "answered": float(case.answer is not None),
        "agreeing": case.agreeing / case.used if case.used else -1.0,
        "used": float(min(case.used, 60)),
        "belongs": case.belongs,
        "sigma": math.log(case.answer.sigma) if case.answer is not None else 5.0,
        "kinship": pair.kinship if pair is not None else 0.0,
        "wide_kinship": wide.kinship if wide is not None else 0.0,
        "clean": float(pair is not None and pair.is_clean),
        "timing": pair.timing if pair is not None else 0.0,
        "kin": pair.kin.deviation if pair is not None else 0.0,
        "wide_kin": wide.kin.deviation if wide is not None else 0.0,
        "heard": float(min(pair.votes.heard, 40)) if pair is not None else 0.0,
        "height": match.coherent[0].height if match is not None and match.coherent else 0.0,
        "rival": _rival(match),
        "lift": _lift(match),
        "wide_lift": _lift(look),
        "gate": math.log(max(match.gate_ratio, 1e-3)) if match is not None else 0.0,
        "effective": math.log1p(match.effective) if match is not None else 0.0,
        "bandwidth": math.log1p(match.bandwidth_hz) if match is not None else 0.0,
        "high": math.log1p(match.high_hz) if match is not None else 0.0,
        "low": math.log1p(match.low_hz) if match is not None else 0.0,
        "coherence": match.mean_coherence if match is not None else 0.0,
        "turned": float(match is not None and match.turn is not None),
        "whole_top": whole[0][2] if whole else 0.0,
        "whole_rival": whole[1][2] / whole[0][2] if len(whole) > 1 else 1.0,
        "windowed_top": windowed[0][2] if windowed else 0.0,
        "windowed_rival": windowed[1][2] / windowed[0][2] if len(windowed) > 1 else 1.0,
        "apart_top": apart[0][2] if apart else 0.0,
        "apart_rival": apart[1][2] / apart[0][2] if len(apart) > 1 else 1.0,
        "owned": said.owned,
        "anchor_owned": said.anchor_owned,
        "tops_apart": _far(whole[0][0], windowed[0][0]) if whole and windowed else 8.0,
        "strokes": float(min(said.first.strokes, 20)),
        "scatter": math.log1p(min(said.first.scatter, FARTHEST)) if said.first.strokes else 8.0,
        "alone_scatter": math.log1p(min(said.first.alone_scatter, FARTHEST))
        if np.isfinite(said.first.alone_scatter)
        else 8.0,
        "sources": float(len(said.sources)),
        "lane_owns": float(any(s.of_lane for s in said.sources)),
        "anchor_owns": float(any(s.of_anchor for s in said.sources)),
    }


def _rival(match: Match | None) -> float:
    """Height of the second peak of a match over that of the first."""
    if match is None or len(match.coherent) < 2:
        return 0.0
    return match.coherent[1].height / match.coherent[0].height


def _lift(match: Match | None) -> float:
    """How far a match stands over what borrowed windows reach, as a logarithm."""
    if match is None or not match.coherent:
        return -2.0
    return math.log(max(match.coherent[0].height, 1e-6) / max(match.chance, 0.02))


def _of_pair(case: Case, x: float) -> dict[str, float]:
    """What the match of the two lanes, and their first sounds at many attacks, say of one place."""
    pair = case.pair
    match = pair.match if pair is not None else None
    sign = -1.0 if case.flip else 1.0
    near, wide_near = (
        [c for c in (p.candidates if p is not None else ()) if abs(sign * c.arrival - x) < apart]
        for p, apart in ((pair, ONE_PLACE), (case.wide, 2 * ONE_PLACE))
    )
    back = pair.offset if pair is not None else 0.0
    votes = pair.votes.places if pair is not None else ()
    voted = [v for v in votes if abs(sign * (v.arrival + back) - x) < max(3 * v.sigma, 3.0)]
    peaks: dict[str, Peak | None] = {}
    if match is not None:
        peaks = {
            "top": next(iter(match.coherent), None),
            "plain": next(iter(match.plain), None),
            "untoned": match.untoned,
            "own": match.own,
            "alone": next(iter(match.alone), None),
            "direct": match.direct,
            "loudest": match.loudest,
        }
    said = {name: None if peak is None else sign * (peak.arrival + back) for name, peak in peaks.items()}
    return {
        "is_joint": float(case.answer is not None and abs(case.answer.arrival - x) < ONE_PLACE),
        "from_joint": _far(x, case.answer.arrival if case.answer is not None else None),
        "score": max((c.score for c in near), default=0.0),
        "wide_score": max((c.score for c in wide_near), default=0.0),
        "is_both": float(any(c.kind == "both" for c in near)),
        "is_own": float(any(c.kind == OWN_STROKES for c in near)),
        "support": max((v.support for v in voted), default=0.0),
        "votes": float(min(max((v.count for v in voted), default=0), 30)),
        **{
            f"from_{name}": _far(x, said.get(name))
            for name in ("top", "plain", "untoned", "own", "alone", "direct", "loudest")
        },
    }


def _of_place(case: Case, x: float) -> dict[str, float]:
    """What each witness says of one place."""
    said = case.account
    own = [s for s in said.sources if s.of_lane]
    theirs = [s for s in said.sources if s.of_anchor]
    out = _of_pair(case, x)
    for name, curve in (("whole", said.whole), ("windowed", said.windowed), ("apart", said.apart)):
        lag, _, height = curve.peaks[0] if curve.peaks else (math.nan, 0, 1.0)
        out[name] = abs(curve.near(x))
        out[f"{name}_share"] = out[name] / max(height, 1e-9)
        out[f"from_{name}"] = _far(x, lag)
    out |= {
        "earlier": said.whole.before(x, round(0.01 * case.rate_hz)) / max(out["whole"], 0.3),
        "from_first": _far(x, said.first.lag),
        "from_alone_first": _far(x, said.first.alone),
        "from_own_strokes": min((_far(x, s.lag) for s in own), default=-1.0),
        "own_unsure": min((s.uncertainty for s in own), default=-1.0),
        "own_count": float(max((s.strokes for s in own), default=0)),
        "from_their_strokes": min((_far(x, s.lag) for s in theirs), default=-1.0),
        "from_any_source": min((_far(x, s.lag) for s in said.sources), default=-1.0),
        "way": math.log1p(abs(x) / case.rate_hz * 1000),
    }
    same, first = math.log1p(ONE_PLACE), math.log1p(3 * ONE_PLACE)
    out["agree"] = float(sum(0 <= out[n] < same for n in ("from_top", "from_whole", "from_windowed")))
    out["agree_first"] = float(sum(0 <= out[n] < first for n in ("from_first", "from_alone_first")))
    return out


BESIDE = ("score", "whole", "windowed", "apart", "support", "agree", "agree_first")


def features(case: Case, found: Sequence[Place]) -> tuple[list[str], NDArray[np.float64]]:
    """Names and values, shape (places, names). Of some, the lead over the best other place as well."""
    shared = _of_case(case)
    rows = [_of_place(case, p.arrival) for p in found]
    for k, row in enumerate(rows):
        others = [r for j, r in enumerate(rows) if j != k]
        row.update({f"lead_{n}": row[n] - max((r[n] for r in others), default=0.0) for n in BESIDE})
    names = [*shared, *rows[0]]
    return names, np.array([[*shared.values(), *row.values()] for row in rows], float)
