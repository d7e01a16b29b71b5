"""From the joint answer to findings: anchor, trust, readings, evidence, sentences."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from lagline.analysis import sentences, trust
from lagline.analysis.evidence import evidence_of
from lagline.analysis.joint import JointAnswer
from lagline.analysis.lane_answer import disagreement, lane_answer, pair_of, readings, runners_up, widened
from lagline.analysis.measure import Cuts, Lanes
from lagline.analysis.options import AnalysisOptions
from lagline.analysis.over_time import over_time
from lagline.analysis.pairs import PairAnswer
from lagline.analysis.scan import WORKERS
from lagline.errors import Cancelled
from lagline.session.findings import (
    Alignment,
    Evidence,
    Finding,
    PairFinding,
    RunnerUp,
    WindowCount,
)
from lagline.session.values import Session

TURNED_TRUST = 0.3


class Measured(Struct, frozen=True):
    """What was measured of a take, whichever lane the anchor will be.

    families : lanes that belong together, largest first. pairs : the close look; wide : the first one.
    """

    lanes: Lanes
    families: list[JointAnswer]
    pairs: list[PairAnswer]
    wide: list[PairAnswer]
    cuts: Cuts


def alignment(
    session: Session,
    options: AnalysisOptions,
    measured: Measured,
    *,
    progress: Callable[[float], None] = lambda _: None,
    cancelled: Callable[[], bool] = lambda: False,
) -> Alignment:
    """Put the findings together. Raises Cancelled."""
    lanes, families, pairs = measured.lanes, measured.families, measured.pairs
    anchor = _anchor(session, options, lanes, families, pairs)
    family = next(f for f in families if anchor in f.lanes)

    done = 0

    def find(lane: int) -> Finding:
        nonlocal done
        if cancelled():
            raise Cancelled
        found = _finding(session, lanes, family, pairs, measured.wide, measured.cuts, anchor, lane)
        done += 1
        progress(done / len(session.lanes))
        return found

    with ThreadPoolExecutor(WORKERS) as pool:
        findings = tuple(pool.map(find, range(len(session.lanes))))
    shown, closure = _pairs(session, families, pairs)
    return Alignment(
        anchor_id=session.lanes[anchor].id,
        rate_hz=session.rate_hz,
        findings=findings,
        pairs=shown,
        closure_samples=closure,
        warnings=_warnings(session, lanes, families, pairs, findings),
    )


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
        if trust.standing(lane, pairs) >= trust.USABLE
    ] or [(float(at), lane) for at, lane in zip(family.arrival, family.lanes, strict=True)]
    chosen = max(believed) if options.anchor == "latest" else min(believed)
    return chosen[1]


def _finding(
    session: Session,
    lanes: Lanes,
    family: JointAnswer,
    pairs: list[PairAnswer],
    wide: list[PairAnswer],
    cuts: Cuts,
    anchor: int,
    lane: int,
) -> Finding:
    me = session.lanes[lane]
    name, anchor_name = me.name, session.lanes[anchor].name
    if lane == anchor:
        silent = lanes.silent[lane]
        return Finding(
            lane_id=me.id,
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
    answer = lane_answer(family, pairs, anchor, lane, session.rate_hz)
    wide_pair = pair_of(wide, anchor, lane)
    if answer is None or lanes.silent[lane]:
        return _nothing(
            me.id,
            sentences.none(name, anchor_name, lanes.silent[lane], lanes.silent[anchor]),
            evidence=evidence_of(session, None, None, wide_pair, anchor, cuts),
        )
    rate = session.rate_hz
    answer = widened(answer, rate)
    course = over_time(lanes, cuts, answer, anchor)
    verdict = trust.judge(lane, anchor, answer.arrival, answer.sigma, answer.polarity, family, pairs)
    if course.walked == 0:
        verdict = trust.doubted(verdict, course.windows.agreeing, course.windows.used)
    evidence = evidence_of(session, answer, course, wide_pair, anchor, cuts)
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
    matched = answer.pair.match if answer.pair is not None else None
    is_turned = matched is not None and matched.turn is not None and course.walked == 0
    polarity_trust = min(verdict.polarity_trust, TURNED_TRUST) if is_turned else verdict.polarity_trust
    apart = None if first_sound is None or best_fit is None else best_fit - first_sound
    words = [
        sentences.arrival(name, anchor_name, arrival, rate, session.temperature_c),
        sentences.polarity(name, anchor_name, answer.polarity, polarity_trust, is_turned),
        sentences.drift(name, anchor_name, course.drift_ppm, course.drift_sigma_ppm, rate),
        sentences.movement(course.walked, rate),
        sentences.agreement(
            course.windows.agreeing, course.windows.used, answer.pair is not None and not answer.pair.is_clean
        ),
    ]
    is_far_apart = apart is not None and max(3 * answer.sigma, 1.5) < abs(apart) < 0.002 * rate
    if first_sound is not None and best_fit is not None and is_far_apart and not is_turned:
        words.append(sentences.two_readings(first_sound, best_fit, rate))
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
        sentence=" ".join(word for word in words if word),
        polarity_trust=polarity_trust,
        first_sound_samples=None if first_sound is None else first_sound + at_start,
        best_fit_samples=None if best_fit is None else best_fit + at_start,
        drift_ppm=course.drift_ppm,
        drift_uncertainty_ppm=course.drift_sigma_ppm,
        movement_ms=1000 * course.walked / rate,
        runners_up=tuple(
            replace(r, arrival_samples=r.arrival_samples + at_start)
            for r in runners_up(answer, answer.arrival)
        ),
        windows=course.windows,
        evidence=evidence,
    )


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
