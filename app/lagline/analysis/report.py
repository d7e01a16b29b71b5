"""From the joint answer to findings: anchor, trust, readings, evidence, sentences."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from lagline.analysis import sentences, trust
from lagline.analysis.evidence import evidence_of
from lagline.analysis.joint import JointAnswer
from lagline.analysis.lane_answer import disagreement, pair_of, readings, runners_up
from lagline.analysis.measure import Lanes
from lagline.analysis.measured import Measured
from lagline.analysis.options import FIRST, LATEST, AnalysisOptions
from lagline.analysis.pairs import PairAnswer
from lagline.analysis.scan import WORKERS
from lagline.analysis.verdict import by_source
from lagline.analysis.verdict.lane_case import Joint, Ruling, joint
from lagline.analysis.verdict.ruling import on_source, rule
from lagline.analysis.verdict.witnesses import Stretch, listen
from lagline.errors import NoSuchSource
from lagline.session.findings import (
    Alignment,
    Evidence,
    Finding,
    PairFinding,
    RunnerUp,
    SourceFinding,
    WindowCount,
)
from lagline.session.values import Session
from lagline.spread import spread

TURNED_TRUST = 0.3


class Asked(Struct, frozen=True):
    """What findings are made of: the take, what was measured of it, and what further witnesses hear of it
    (None where no lane needs them), and the instruments that are told apart."""

    session: Session
    measured: Measured
    anchor: int
    stretch: Stretch | None
    sources: tuple[SourceFinding, ...]
    source: SourceFinding | None


def alignment(
    session: Session,
    options: AnalysisOptions,
    measured: Measured,
    *,
    progress: Callable[[float], None] = lambda _: None,
    cancelled: Callable[[], bool] = lambda: False,
) -> Alignment:
    """Put the findings together. Raises Cancelled, NotInSession: no instrument is told at a chosen lane."""
    lanes, families, pairs = measured.lanes, measured.families, measured.pairs
    anchor = _anchor(session, options, lanes, families, pairs)
    stretch = _heard(measured, anchor)
    asked = _asked(session, options, measured, anchor, stretch)
    findings = _findings(asked, progress, cancelled)
    if options.anchor in (LATEST, FIRST):
        beyond = _beyond(findings, families, anchor, is_latest=options.anchor == LATEST)
        if beyond is not None:
            anchor = beyond
            asked = _asked(session, options, measured, anchor, stretch)
            findings = _findings(asked, progress, cancelled)
    shown, closure = _pairs(session, families, pairs)
    return Alignment(
        anchor_id=session.lanes[anchor].id,
        rate_hz=session.rate_hz,
        findings=findings,
        pairs=shown,
        closure_samples=closure,
        warnings=(*_warnings(session, lanes, families, pairs, findings), *_apart(asked, findings)),
        sources=asked.sources,
    )


def _asked(
    session: Session, options: AnalysisOptions, measured: Measured, anchor: int, stretch: Stretch | None
) -> Asked:
    sources = by_source.told(session, stretch, anchor)
    chosen = None
    if options.source is not None:
        chosen = next((s for s in sources if options.source in s.lane_ids), None)
        if chosen is None:
            raise NoSuchSource(session.lane(options.source).name, (s.name for s in sources if s.lane_ids))
    return Asked(session, measured, anchor, stretch, sources, chosen)


def _heard(measured: Measured, anchor: int) -> Stretch | None:
    """What further witnesses hear; None where two lanes alone sound and nothing is left to ask."""
    silent = measured.lanes.silent
    heard = [k for k, is_silent in enumerate(silent) if not is_silent]
    if silent[anchor] or len(heard) < 2:
        return None
    if len(heard) == 2 and all(joint(measured, anchor, k).is_beyond_doubt for k in heard if k != anchor):
        return None
    return listen(measured.lanes, measured.cuts, measured.passage)


def _anchor(
    session: Session,
    options: AnalysisOptions,
    lanes: Lanes,
    families: list[JointAnswer],
    pairs: list[PairAnswer],
) -> int:
    ids = [lane.id for lane in session.lanes]
    if options.anchor in ids:
        return ids.index(options.anchor)
    family = families[0]
    if len(family.lanes) < 2:
        heard = [i for i, silent in enumerate(lanes.silent) if not silent]
        return heard[-1]
    believed = [
        (float(at), lane)
        for at, lane in zip(family.arrival, family.lanes, strict=True)
        if trust.standing(lane, pairs) >= trust.BELONGS
    ] or [(float(at), lane) for at, lane in zip(family.arrival, family.lanes, strict=True)]
    chosen = max(believed) if options.anchor == "latest" else min(believed)
    return chosen[1]


def _findings(
    asked: Asked, progress: Callable[[float], None], cancelled: Callable[[], bool]
) -> tuple[Finding, ...]:
    measured, anchor = asked.measured, asked.anchor
    heard = [k for k, silent in enumerate(measured.lanes.silent) if not silent and k != anchor]
    joints = {} if measured.lanes.silent[anchor] else {k: joint(measured, anchor, k) for k in heard}

    def find(lane: int) -> Finding:
        return _finding(asked, lane, joints.get(lane))

    every = range(len(asked.session.lanes))
    return tuple(spread(find, every, threads=WORKERS, progress=progress, cancelled=cancelled))


def _beyond(
    findings: tuple[Finding, ...], families: list[JointAnswer], anchor: int, *, is_latest: bool
) -> int | None:
    """A lane of another family that further witnesses place beyond an anchor chosen without them."""
    family = next(f for f in families if anchor in f.lanes)
    side = 1 if is_latest else -1
    placed = [
        (side * f.arrival_samples, k)
        for k, f in enumerate(findings)
        if k not in family.lanes and f.arrival_samples is not None and f.trust >= trust.USABLE
    ]
    farthest, lane = max(placed, default=(0.0, anchor))
    return lane if farthest > 0 else None


def _finding(asked: Asked, lane: int, seen_by_all: Joint | None) -> Finding:
    session, measured, anchor = asked.session, asked.measured, asked.anchor
    lanes, cuts, rate = measured.lanes, measured.cuts, session.rate_hz
    me = session.lanes[lane]
    name, anchor_name = me.name, session.lanes[anchor].name
    if lane == anchor:
        return _of_anchor(me.id, name, lanes.silent[lane])
    wide = pair_of(measured.wide, anchor, lane)
    ruling = None if seen_by_all is None else _ruling(asked, lane, seen_by_all)
    if ruling is None:
        return _nothing(
            me.id,
            sentences.none(name, anchor_name, lanes.silent[lane], lanes.silent[anchor]),
            evidence=evidence_of(session, None, None, wide, anchor, cuts),
        )
    answer, course, verdict = ruling.answer, ruling.course, ruling.verdict
    evidence = evidence_of(session, answer, course, wide, anchor, cuts)
    if verdict.word == "none":
        return _nothing(
            me.id,
            sentences.none(name, anchor_name, False),
            trust=verdict.trust,
            runners_up=runners_up(answer, None),
            windows=course.windows,
            evidence=evidence,
        )
    first_sound, best_fit = readings(answer, rate)
    arrival = answer.arrival + course.at_start
    is_turned = _is_turned(ruling)
    polarity_trust = min(verdict.polarity_trust, TURNED_TRUST) if is_turned else verdict.polarity_trust
    at_start = course.at_start
    return Finding(
        lane_id=me.id,
        arrival_samples=arrival,
        uncertainty_samples=float(np.hypot(answer.sigma, 0.3 * course.walked))
        if verdict.word != "weak"
        else max(answer.sigma, disagreement(answer)),
        polarity=None if is_turned else answer.polarity,
        trust=verdict.trust,
        trust_word=verdict.word,
        sentence=_sentence(asked, lane, ruling, polarity_trust),
        polarity_trust=polarity_trust,
        first_sound_samples=None if first_sound is None else first_sound + at_start,
        best_fit_samples=None if best_fit is None else best_fit + at_start,
        drift_ppm=course.drift_ppm,
        drift_uncertainty_ppm=course.drift_sigma_ppm,
        movement_ms=1000 * course.walked / rate,
        runners_up=tuple(
            replace(r, arrival_samples=r.arrival_samples + at_start)
            for r in runners_up(answer, answer.arrival)
        )
        + by_source.as_runners_up(asked.sources, me.id, arrival),
        windows=course.windows,
        evidence=evidence,
    )


def _ruling(asked: Asked, lane: int, one: Joint) -> Ruling | None:
    """The lane's own ruling, or the place of the chosen instrument where the lane is no other's."""
    measured, anchor, lane_id = asked.measured, asked.anchor, asked.session.lanes[lane].id
    ruling = rule(measured, asked.stretch, anchor, one)
    chosen, stretch = asked.source, asked.stretch
    lag = None if chosen is None else chosen.lag(lane_id)
    if lag is None or stretch is None or by_source.stands_at_one(asked.sources, lane_id):
        return ruling
    if ruling is not None and ruling.verdict.word != "none" and by_source.is_at(lag, ruling.answer.arrival):
        return ruling
    return on_source(measured, stretch, anchor, one, lag)


def _of_anchor(lane_id: str, name: str, silent: bool) -> Finding:
    return Finding(
        lane_id=lane_id,
        arrival_samples=None if silent else 0.0,
        uncertainty_samples=None if silent else 0.0,
        polarity=None if silent else 1,
        trust=0.0 if silent else 1.0,
        trust_word="none" if silent else "strong",
        sentence=sentences.none(name, name, True) if silent else sentences.anchor(name),
        polarity_trust=0.0 if silent else 1.0,
        first_sound_samples=None if silent else 0.0,
        best_fit_samples=None if silent else 0.0,
    )


def _is_turned(ruling: Ruling) -> bool:
    pair = ruling.answer.pair
    match = pair.match if pair is not None else None
    return match is not None and match.turn is not None and ruling.course.walked == 0


def _sentence(asked: Asked, lane: int, ruling: Ruling, polarity_trust: float) -> str:
    session, me = asked.session, asked.session.lanes[lane]
    name, anchor_name = me.name, session.lanes[asked.anchor].name
    answer, course, rate = ruling.answer, ruling.course, session.rate_hz
    is_turned = _is_turned(ruling)
    first_sound, best_fit = readings(answer, rate)
    words = [
        sentences.arrival(name, anchor_name, answer.arrival + course.at_start, rate, session.temperature_c),
        sentences.polarity(name, anchor_name, answer.polarity, polarity_trust, is_turned),
        sentences.drift(name, anchor_name, course.drift_ppm, course.drift_sigma_ppm, rate),
        sentences.movement(course.walked, rate),
        sentences.rests_on(ruling.kind),
        _by_source(asked, me.id, answer.arrival + course.at_start),
        sentences.agreement(
            course.windows.agreeing, course.windows.used, answer.pair is not None and not answer.pair.is_clean
        ),
    ]
    apart = 0.0 if first_sound is None or best_fit is None else best_fit - first_sound
    is_far_apart = max(3 * answer.sigma, 1.5) < abs(apart) < 0.002 * rate
    if first_sound is not None and best_fit is not None and is_far_apart and not is_turned:
        words.append(sentences.two_readings(first_sound, best_fit, rate))
    return " ".join(word for word in words if word)


def _by_source(asked: Asked, lane_id: str, arrival: float) -> str:
    if not by_source.disagree(asked.sources, lane_id):
        return ""
    taken = by_source.gone_by(asked.sources, lane_id, arrival)
    heard = [(s.name, lag.arrival_samples) for s in asked.sources if (lag := s.lag(lane_id)) is not None]
    is_own = taken is not None and lane_id in taken.lane_ids
    return sentences.by_source(heard, None if taken is None else taken.name, is_own=is_own)


def _apart(asked: Asked, findings: tuple[Finding, ...]) -> tuple[str, ...]:
    """What to say where lanes that stand at no instrument go by different ones."""
    taken: dict[str, list[str]] = {}
    for lane, finding in zip(asked.session.lanes, findings, strict=True):
        at, is_free = finding.arrival_samples, not by_source.stands_at_one(asked.sources, lane.id)
        if at is None or not is_free or not by_source.disagree(asked.sources, lane.id):
            continue
        source = by_source.gone_by(asked.sources, lane.id, at)
        if source is not None:
            taken.setdefault(source.name, []).append(lane.name)
    return (sentences.apart(taken),) if len(taken) > 1 else ()


def _nothing(
    lane_id: str,
    sentence: str,
    *,
    evidence: Evidence,
    trust: float = 0.0,
    runners_up: tuple[RunnerUp, ...] = (),
    windows: WindowCount = WindowCount(),  # noqa: B008 - frozen
) -> Finding:
    """A finding that proposes nothing."""
    return Finding(
        lane_id=lane_id,
        arrival_samples=None,
        uncertainty_samples=None,
        polarity=None,
        trust=trust,
        trust_word="none",
        sentence=sentence,
        runners_up=runners_up,
        windows=windows,
        evidence=evidence,
    )


def _pairs(
    session: Session, families: list[JointAnswer], pairs: list[PairAnswer]
) -> tuple[tuple[PairFinding, ...], float]:
    """Pairs that had a say, `a` the second lane of each, and the rms of what is left over."""
    shown: list[PairFinding] = []
    squares = weights = 0.0
    for family in families:
        for k, candidate in sorted(family.chosen.items()):
            pair = pairs[k]
            weight = min(max(family.weight.get(k, 0.0), 0.0), 1.0)
            left = family.residual.get(k, 0.0)
            squares += weight * left**2
            weights += weight
            shown.append(
                PairFinding(
                    a=session.lanes[pair.second].id,
                    b=session.lanes[pair.first].id,
                    arrival_samples=candidate.arrival,
                    weight=weight,
                    residual_samples=left,
                    polarity=candidate.polarity,
                )
            )
    return tuple(shown), float(np.sqrt(squares / weights)) if weights > 0 else 0.0


def _warnings(
    session: Session,
    lanes: Lanes,
    families: list[JointAnswer],
    pairs: list[PairAnswer],
    findings: tuple[Finding, ...],
) -> tuple[str, ...]:
    said: list[str] = []
    for lane, silent in zip(session.lanes, lanes.silent, strict=True):
        if silent:
            said.append(f"{lane.name} is silent: check the recording, or mute the lane.")
    for family in families:
        for k, left in sorted(family.residual.items()):
            pair = pairs[k]
            if (
                pair.kinship > 0.8
                and family.weight.get(k, 0.0) < 0.1
                and abs(left) > 0.0005 * session.rate_hz
            ):
                a, b = session.lanes[pair.second].name, session.lanes[pair.first].name
                if len(family.lanes) <= 4:
                    said.append(
                        f"{a} and {b} on their own say {abs(left):.0f} samples otherwise than all lanes "
                        f"together; what all agree on was taken. Listen to these two."
                    )
    others = [f for f in families[1:] if len(f.lanes) > 1]
    for family in others:
        listed = ", ".join(session.lanes[i].name for i in family.lanes)
        said.append(
            f"{listed} belong together but not to the others: check that they are of this take, "
            f"or line them up apart."
        )
    return tuple(said)
