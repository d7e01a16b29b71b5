"""From the joint answer to findings: anchor, trust, readings, evidence, sentences."""

from __future__ import annotations

import itertools

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from lagline.analysis import sentences, trust
from lagline.analysis.joint import LEAST_KINSHIP, JointAnswer
from lagline.analysis.measure import Cuts, Lanes
from lagline.analysis.options import AnalysisOptions
from lagline.analysis.pairs import Candidate, PairAnswer
from lagline.analysis.spectra import INTERPOLATION
from lagline.session.findings import (
    Alignment,
    Evidence,
    Finding,
    PairFinding,
    RunnerUp,
)
from lagline.session.values import Session

CURVE_MS = 30.0
MOST_RUNNERS_UP = 5
COHERENCE_BANDS = 60


class LaneAnswer(Struct, frozen=True):
    """One lane against the anchor: the joint answer seen through their own pair."""

    lane: int
    arrival: float
    sigma: float
    polarity: int
    family: JointAnswer
    pair: PairAnswer | None  # of the anchor and the lane
    flip: bool  # the pair is stored lane first, anchor second


class Measured(Struct, frozen=True):
    """What was measured of a take, whichever lane the anchor will be.

    families : lanes that belong together, largest first. pairs : the close look; wide : the first one.
    """

    lanes: Lanes
    families: list[JointAnswer]
    pairs: list[PairAnswer]
    wide: list[PairAnswer]
    cuts: Cuts


def alignment(session: Session, options: AnalysisOptions, measured: Measured) -> Alignment:
    """Put the findings together."""
    lanes, families, pairs = measured.lanes, measured.families, measured.pairs
    anchor = _anchor(session, options, lanes, families, pairs)
    family = next(f for f in families if anchor in f.lanes)
    findings = tuple(
        _finding(session, lanes, family, pairs, measured.wide, measured.cuts, anchor, lane)
        for lane in range(len(session.lanes))
    )
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
    answer = _lane_answer(family, pairs, anchor, lane, session.rate_hz)
    if answer is None or lanes.silent[lane]:
        return Finding(
            lane_id=me.id,
            arrival_samples=None,
            uncertainty_samples=None,
            polarity=None,
            trust=0.0,
            trust_word="none",
            sentence=sentences.none(name, anchor_name, lanes.silent[lane], lanes.silent[anchor]),
            evidence=_evidence(session, lanes, None, _pair_of(wide, anchor, lane), anchor, cuts),
            runners_up=(),
        )
    answer = _widened(answer, session.rate_hz)
    verdict = trust.judge(answer.lane, anchor, answer.arrival, answer.sigma, answer.polarity, family, pairs)
    rate = session.rate_hz
    evidence = _evidence(session, lanes, answer, _pair_of(wide, anchor, lane), anchor, cuts)
    first_sound, best_fit = _readings(answer, rate)
    if verdict.word == "none":
        return Finding(
            lane_id=me.id,
            arrival_samples=None,
            uncertainty_samples=None,
            polarity=None,
            trust=verdict.trust,
            trust_word="none",
            sentence=sentences.none(name, anchor_name, False),
            runners_up=_runners_up(answer, None),
            windows=verdict.windows,
            evidence=evidence,
        )
    words = [
        sentences.arrival(name, anchor_name, answer.arrival, rate, session.temperature_c),
        sentences.polarity(name, anchor_name, answer.polarity, verdict.polarity_trust, False),
        sentences.agreement(verdict.windows.agreeing, verdict.windows.used, cuts.attacks.count > 0),
    ]
    if first_sound is not None and best_fit is not None:
        apart = abs(first_sound - best_fit)
        if apart > max(3 * answer.sigma, 1.5) and apart < 0.002 * rate:
            words.append(sentences.two_readings(first_sound, best_fit, rate))
    return Finding(
        lane_id=me.id,
        arrival_samples=answer.arrival,
        uncertainty_samples=answer.sigma,
        polarity=answer.polarity,
        trust=verdict.trust,
        trust_word=verdict.word,
        sentence=" ".join(word for word in words if word),
        polarity_trust=verdict.polarity_trust,
        first_sound_samples=first_sound,
        best_fit_samples=best_fit,
        runners_up=_runners_up(answer, answer.arrival),
        windows=verdict.windows,
        evidence=evidence,
    )


def _pair_of(pairs: list[PairAnswer], a: int, b: int) -> PairAnswer | None:
    return next((p for p in pairs if {p.first, p.second} == {a, b}), None)


def _lane_answer(
    family: JointAnswer, pairs: list[PairAnswer], anchor: int, lane: int, rate_hz: int
) -> LaneAnswer | None:
    if lane not in family.lanes:
        return None
    here, there = family.lanes.index(lane), family.lanes.index(anchor)
    pair = _pair_of(pairs, anchor, lane)
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
    return replace(answer, arrival=_seen(own, flip), sigma=own.sigma, polarity=own.polarity)


def _own_opinion(answer: LaneAnswer, rate_hz: int) -> Candidate | None:
    """The pair's own candidate where it is clear and not what all lanes together say.

    In a kit a lane lies differently against the anchor for each instrument; what the two lanes say most
    clearly of each other is what they add up to in the blend.
    """
    pair = answer.pair
    if pair is None or not pair.is_clean or pair.kinship < LEAST_KINSHIP:
        return None
    best = pair.candidates[0]
    near = max(0.0002 * rate_hz, 4.0)
    if best.kind == "first sound" or abs(_seen(best, answer.flip) - answer.arrival) < near:
        return None
    agreeing = [c.score for c in pair.candidates if abs(_seen(c, answer.flip) - answer.arrival) < near]
    return best if max(agreeing, default=0.0) < 0.75 * best.score else None


def _widened(answer: LaneAnswer, rate_hz: int) -> LaneAnswer:
    """The answer with an uncertainty that covers how far its two readings lie apart."""
    first, best = _readings(answer, rate_hz)
    if first is None or best is None:
        return answer
    return replace(answer, sigma=float(np.hypot(answer.sigma, 0.35 * abs(first - best))))


def _seen(candidate: Candidate, flip: bool) -> float:
    return -candidate.arrival if flip else candidate.arrival


def _readings(answer: LaneAnswer, rate_hz: int) -> tuple[float | None, float | None]:
    """First sound and best fit of the lane's own pair, nearest to the answer."""
    if answer.pair is None:
        return None, None
    firsts = [_seen(c, answer.flip) for c in answer.pair.candidates if c.kind == "first sound"]
    fits = [
        (c.score, _seen(c, answer.flip))
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


def _runners_up(answer: LaneAnswer, taken: float | None) -> tuple[RunnerUp, ...]:
    if answer.pair is None:
        return ()
    found: list[RunnerUp] = []
    for c in answer.pair.candidates:
        at = _seen(c, answer.flip)
        if taken is not None and abs(at - taken) < 0.5 and c.polarity == answer.polarity:
            continue
        if any(abs(at - r.arrival_samples) < 0.5 and r.polarity == c.polarity for r in found):
            continue
        found.append(RunnerUp(arrival_samples=at, polarity=c.polarity, score=c.score))
    return tuple(found[:MOST_RUNNERS_UP])


def _evidence(
    session: Session,
    lanes: Lanes,
    answer: LaneAnswer | None,
    wide: PairAnswer | None,
    anchor: int,
    cuts: Cuts,
) -> Evidence:
    if wide is None or wide.match is None:
        return Evidence()
    matched = wide.match
    flip = wide.second == anchor
    curve = matched.curve[::INTERPOLATION]
    reach = (len(curve) - 1) // 2
    if flip:
        curve = curve[::-1]
    middle = -wide.offset if flip else wide.offset
    show = min(round(CURVE_MS * session.rate_hz / 1000), reach)
    kept = curve[reach - show : reach + show + 1]
    hz, coherence, phase = _spectrum(answer, session.rate_hz, cuts)
    times, arrivals, weights, signs = _windows(answer, session.rate_hz, cuts)
    return Evidence(
        curve_start_samples=middle - show,
        curve_step_samples=1.0,
        curve=tuple(round(float(v), 4) for v in kept),
        window_time_s=times,
        window_arrival_samples=arrivals,
        window_weight=weights,
        window_polarity=signs,
        band_low_hz=matched.low_hz,
        band_high_hz=matched.high_hz,
        coherence_hz=hz,
        coherence=coherence,
        phase_rad=phase,
    )


def _spectrum(
    answer: LaneAnswer | None, rate_hz: int, cuts: Cuts
) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    """Coherence and phase in bands a constant ratio apart, the arrival taken out."""
    if answer is None or answer.pair is None or answer.pair.match is None:
        return (), (), ()
    matched = answer.pair.match
    bins = np.arange(len(matched.coherence)) * rate_hz / cuts.size
    edges = np.geomspace(40.0, 0.48 * rate_hz, COHERENCE_BANDS + 1)
    residual = answer.arrival - (-answer.pair.offset if answer.flip else answer.pair.offset)
    turn = np.exp(
        1j * ((-matched.phase if answer.flip else matched.phase) + 2 * np.pi * bins * residual / rate_hz)
    )
    hz, coherence, phase = [], [], []
    for low, high in itertools.pairwise(edges):
        inside = (bins >= low) & (bins < high)
        if not inside.any():
            continue
        mean = (turn[inside] * matched.coherence[inside]).sum()
        hz.append(round(float(np.sqrt(low * high)), 1))
        coherence.append(round(float(matched.coherence[inside].mean()), 4))
        phase.append(round(float(np.angle(mean)), 4))
    return tuple(hz), tuple(coherence), tuple(phase)


def _windows(
    answer: LaneAnswer | None, rate_hz: int, cuts: Cuts
) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...], tuple[int, ...]]:
    """Arrival of each attack (or window) over time."""
    if answer is None or answer.pair is None or answer.pair.votes.heard == 0:
        return (), (), (), ()
    votes = answer.pair.votes
    back = answer.pair.offset
    there = np.isfinite(votes.each) & (votes.weight > 0)
    top = float(votes.weight[there].max()) if there.any() else 1.0
    times = (cuts.attacks.start[there] + cuts.attacks.lead) / rate_hz
    values = votes.each[there] + back
    if answer.flip:
        values = -values
    return (
        tuple(round(float(t), 4) for t in times),
        tuple(round(float(v), 3) for v in values),
        tuple(round(float(w / top), 3) for w in votes.weight[there]),
        tuple([answer.polarity] * int(there.sum())),
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
        said.append(f"{listed} belong together but not to the others: perhaps from another take?")
    return tuple(said)
