"""What a finding rests on, small enough to keep with the session and ready to draw."""

from __future__ import annotations

import itertools

import numpy as np

from lagline.analysis.lane_answer import LaneAnswer
from lagline.analysis.measure import Cuts
from lagline.analysis.over_time import OverTime
from lagline.analysis.pairs import PairAnswer
from lagline.analysis.scan import Floats
from lagline.analysis.spectra import INTERPOLATION
from lagline.session.findings import Evidence
from lagline.session.values import Session

CURVE_MS = 30.0
COHERENCE_BANDS = 60


def evidence_of(
    session: Session,
    answer: LaneAnswer | None,
    course: OverTime | None,
    wide: PairAnswer | None,
    anchor: int,
    cuts: Cuts,
) -> Evidence:
    """What the panels draw of a finding. Shifts and times in session samples; no curve without an answer."""
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
    return Evidence(
        curve_start_samples=middle - show,
        curve_step_samples=1.0,
        curve=tuple(round(float(v), 4) for v in kept),
        window_time_s=() if course is None else _rounded(course.time / session.rate_hz, 4),
        window_arrival_samples=() if course is None else _rounded(course.arrival, 3),
        window_weight=() if course is None else _rounded(course.weight, 3),
        window_polarity=() if course is None else (course.polarity,) * len(course.time),
        band_low_hz=matched.low_hz,
        band_high_hz=matched.high_hz,
        coherence_hz=hz,
        coherence=coherence,
        phase_rad=phase,
    )


def _rounded(values: Floats, digits: int) -> tuple[float, ...]:
    return tuple(round(float(value), digits) for value in values)


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
