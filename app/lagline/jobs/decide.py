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
    rounding: edits.Rounding = "none",
    progress: Callable[[float], None] = no_progress,
    cancelled: Callable[[], bool] = never,
) -> Decided:
    """Measure a take and take every proposal over; lanes of which nothing is known stay as recorded.

    Raises as `line_up` does.
    """
    alignment = line_up(session, options, progress=progress, cancelled=cancelled)
    accepted = edits.all_accepted(edits.with_alignment(session, alignment), rounding=rounding)
    silent = [
        session.lane(finding.lane_id).name
        for finding in alignment.findings
        if finding.arrival_samples is None
    ]
    weak = [
        session.lane(finding.lane_id).name for finding in alignment.findings if finding.trust_word == "weak"
    ]
    whole = [lane.name for lane in session.lanes if _was_rounded(accepted, lane.id)]
    warnings = alignment.warnings
    if rounding == "within" and whole:
        warnings = (*warnings, f"Moved by whole samples, within their uncertainty: {', '.join(whole)}.")
    if weak:
        warnings = (
            *warnings,
            f"Moved on weak evidence, so compare by ear before you keep it: {', '.join(weak)}.",
        )
    if silent:
        warnings = (*warnings, f"Left as recorded, because nothing was found for it: {', '.join(silent)}.")
    return Decided(accepted, warnings)


def _was_rounded(session: Session, lane_id: str) -> bool:
    origin = session.current_version.origin(lane_id)
    return origin is not None and origin.whole
