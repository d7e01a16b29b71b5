"""Measure a take and take over what was found."""

from __future__ import annotations

from collections.abc import Callable

from msgspec import Struct

from lagline.analysis.options import AnalysisOptions
from lagline.jobs.line_up import line_up, never, no_progress
from lagline.session import edits
from lagline.session.values import Session


class Decided(Struct, frozen=True):
    """A session and what there was to say on the way."""

    session: Session
    warnings: tuple[str, ...] = ()


def measured_and_accepted(
    session: Session,
    options: AnalysisOptions,
    *,
    whole_samples: bool = False,
    progress: Callable[[float], None] = no_progress,
    cancelled: Callable[[], bool] = never,
) -> Decided:
    """Measure a take and take every proposal over; lanes of which nothing is known stay as recorded.

    Raises as `line_up` does.
    """
    alignment = line_up(session, options, progress=progress, cancelled=cancelled)
    accepted = edits.all_accepted(edits.with_alignment(session, alignment), whole_samples=whole_samples)
    silent = [
        session.lane(finding.lane_id).name
        for finding in alignment.findings
        if finding.arrival_samples is None
    ]
    weak = [
        session.lane(finding.lane_id).name for finding in alignment.findings if finding.trust_word == "weak"
    ]
    warnings = alignment.warnings
    if weak:
        warnings = (
            *warnings,
            f"Moved on weak evidence, so compare by ear before you keep it: {', '.join(weak)}.",
        )
    if silent:
        warnings = (*warnings, f"Left as recorded, because nothing was found for it: {', '.join(silent)}.")
    return Decided(accepted, warnings)
