"""Findings as the documented JSON of `lagline align --json`, schema lagline/alignment/1."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Literal

from lagline.session.edits import Rounding, proposed_shift_samples
from lagline.session.findings import Alignment, Finding
from lagline.session.values import Session
from lagline.units import samples_to_metres, samples_to_ms

if TYPE_CHECKING:
    from lagline.cli.documents import AlignDocument, AlignedLane

SCHEMA: Literal["lagline/alignment/1"] = "lagline/alignment/1"


def alignment_document(
    session: Session, alignment: Alignment, problems: Iterable[str] = (), *, rounding: Rounding = "none"
) -> AlignDocument:
    """Plain values ready for JSON. Lanes stand in the take's order, pairs by lane name.

    `arrival_samples`, `polarity` and `proposed_shift_samples` are None where trust is none. Proposed shifts
    are rounded as `rounding` says; arrivals are not.
    """
    names = {lane.id: lane.name for lane in session.lanes}
    found = {finding.lane_id: finding for finding in alignment.findings}
    return {
        "schema": SCHEMA,
        "rate_hz": session.rate_hz,
        "anchor": names[alignment.anchor_id],
        "lanes": [
            _lane(session, lane.id, found[lane.id], rounding) for lane in session.lanes if lane.id in found
        ],
        "pairs": [
            {
                # In the file `b` is the later one where the arrival is positive; in PairFinding it is `a`.
                "a": names[pair.b],
                "b": names[pair.a],
                "arrival_samples": pair.arrival_samples,
                "weight": pair.weight,
                "residual_samples": pair.residual_samples,
            }
            for pair in alignment.pairs
        ],
        "closure_samples": alignment.closure_samples,
        "sources": [
            {
                "name": source.name,
                "lanes": [names[lane_id] for lane_id in source.lane_ids],
                "strokes": source.strokes,
                "lags": [
                    {
                        "lane": names[lag.lane_id],
                        "arrival_samples": lag.arrival_samples,
                        "uncertainty_samples": lag.uncertainty_samples,
                        "polarity": lag.polarity or None,
                    }
                    for lag in source.lags
                ],
            }
            for source in alignment.sources
        ],
        "warnings": [*problems, *alignment.warnings],
    }


def _lane(session: Session, lane_id: str, finding: Finding, rounding: Rounding) -> AlignedLane:
    lane = session.lane(lane_id)
    arrival, shift = finding.arrival_samples, proposed_shift_samples(finding, rounding)
    return {
        "name": lane.name,
        "file": lane.source.path.name,
        "channel": lane.source.channel,
        "arrival_samples": arrival,
        "uncertainty_samples": finding.uncertainty_samples,
        "arrival_ms": None if arrival is None else samples_to_ms(arrival, session.rate_hz),
        "path_m": None
        if arrival is None
        else samples_to_metres(arrival, session.rate_hz, session.temperature_c),
        "first_sound_samples": finding.first_sound_samples,
        "best_fit_samples": finding.best_fit_samples,
        "polarity": finding.polarity,
        "polarity_trust": finding.polarity_trust,
        "trust": finding.trust,
        "trust_word": finding.trust_word,
        "drift_ppm": finding.drift_ppm,
        "movement_ms": finding.movement_ms,
        "proposed_shift_samples": shift,
        "runners_up": [
            {
                "arrival_samples": other.arrival_samples,
                "polarity": other.polarity,
                "score": other.score,
                "source": other.source or None,
            }
            for other in finding.runners_up
        ],
        "windows": {"used": finding.windows.used, "agreeing": finding.windows.agreeing},
        "sentence": finding.sentence,
    }
