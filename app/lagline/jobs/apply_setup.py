"""Apply a setup to another take, and say how well that take agrees with it."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from lagline.analysis.options import AnalysisOptions
from lagline.deliver.names import safe_stem
from lagline.jobs.line_up import line_up, never, no_progress
from lagline.session import edits
from lagline.session.findings import Alignment, Finding
from lagline.session.setup import Setup, SetupLane, applied, load_setup, matched_lanes, setup_of
from lagline.session.storage import SUFFIX, load
from lagline.session.values import Session

# A tenth of a millisecond is 3.4 cm of air: less than a performer sways, more than a strong finding errs.
AGREEING_MS = 0.1
SIGMAS = 3.0

Agreement = Literal["agrees", "moved", "not comparable"]


class LaneComparison(Struct, frozen=True):
    """One lane of a take against the setup, both measured from the take's anchor."""

    lane_id: str
    expected_samples: float | None  # arrival the setup's shifts stand for, at the session's rate
    measured_samples: float | None
    difference_samples: float | None  # measured - expected
    polarity_agrees: bool | None
    word: Agreement


class AppliedSetup(Struct, frozen=True):
    """A take with a setup on it."""

    session: Session
    comparisons: tuple[LaneComparison, ...]
    matched: dict[str, str]  # name of the setup's lane by lane id
    warnings: tuple[str, ...]


def read_setup(path: Path) -> Setup:
    """A setup file, or the current version of a session file as a setup.

    Raises the errors of `session.setup.load_setup` and `session.storage.load`.
    """
    if path.suffix != SUFFIX:
        return load_setup(path)
    session = load(path)
    return setup_of(session, session.current_version, session.name)


def apply_setup(
    setup: Setup,
    session: Session,
    *,
    search_ms: float | None = None,
    take_new: bool = False,
    progress: Callable[[float], None] = no_progress,
    cancelled: Callable[[], bool] = never,
) -> AppliedSetup:
    """Put a setup on a take, measure the take, and compare.

    The setup's shifts are kept; with `take_new` what was found now replaces them where something was.

    Raises as `line_up` does.
    """
    matches = matched_lanes(setup, session)
    options = options_for(setup, matches, search_ms=search_ms)
    alignment = line_up(session, options, progress=progress, cancelled=cancelled)
    new_lanes = [finding.lane_id for finding in alignment.findings] if take_new else []
    done = decided(setup, session, alignment, matches, new_lanes)
    unmatched = [lane.name for lane in session.lanes if lane.id not in matches]
    warnings = alignment.warnings
    if unmatched:
        listed = ", ".join(unmatched)
        warnings = (
            f"Not in the setup, left as recorded: {listed}. Rename lanes to match, or shift by hand.",
            *warnings,
        )
    return AppliedSetup(
        session=done,
        comparisons=compared(session, alignment, matches, setup.rate_hz),
        matched={lane_id: known.name for lane_id, known in matches.items()},
        warnings=warnings,
    )


def options_for(
    setup: Setup, matches: Mapping[str, SetupLane], *, search_ms: float | None = None
) -> AnalysisOptions:
    """How a take is measured: against the setup's anchor when it has that lane, else against the latest."""
    anchors = [lane_id for lane_id, known in matches.items() if known.name == setup.anchor]
    return AnalysisOptions(anchor=anchors[0] if anchors else "latest", search_ms=search_ms)


def decided(
    setup: Setup,
    session: Session,
    alignment: Alignment | None,
    matches: dict[str, SetupLane],
    new_lanes: Collection[str],
) -> Session:
    """The take with the setup's moves in its current version, but in `new_lanes` what was measured.

    The anchor keeps its own move, and measured lanes are lined up on it where it then is, so that kept and
    measured lanes fit together. Lanes of which nothing was found keep the setup's move.
    """
    if alignment is None:
        return applied(setup, session, matches)
    done = applied(setup, edits.with_alignment(session, alignment), matches)
    for finding in alignment.findings:
        if finding.lane_id not in new_lanes or finding.lane_id == alignment.anchor_id:
            continue
        if finding.arrival_samples is None:
            continue
        new = edits.lined_up(done, finding, finding.arrival_samples, finding.told_polarity)
        new = replace(new, rate_ppm=new.rate_ppm + finding.drift_ppm)
        done = edits.with_move(done, finding.lane_id, new, by="finding")
    return done


def path_beside(session: Session) -> Path:
    """Where a take's session is kept when nobody chose a place: in its recordings' (common) folder."""
    return (
        folders_beside([lane.source.path for lane in session.lanes])[0] / f"{safe_stem(session.name)}{SUFFIX}"
    )


def folders_beside(recordings: Sequence[Path]) -> list[Path]:
    """Where a session of these recordings may lie: in the folder they share first, then in their own."""
    own = [path.parent for path in recordings]
    try:
        return list(dict.fromkeys((Path(os.path.commonpath(own)), *own)))
    except ValueError:  # on several drives of Windows
        return list(dict.fromkeys(own))


def compared(
    session: Session, alignment: Alignment, matches: dict[str, SetupLane], setup_rate_hz: int
) -> tuple[LaneComparison, ...]:
    """Every lane of the take against the setup.

    A lane is not comparable when it, or the anchor, is not in the setup, or when nothing was found of it.
    It agrees within a tenth of a millisecond or three times its uncertainty, whichever is more, and with
    the same polarity; else it moved.
    """
    anchor = matches.get(alignment.anchor_id)
    return tuple(
        _compared(session, finding, matches.get(finding.lane_id), anchor, setup_rate_hz)
        for finding in alignment.findings
    )


def _compared(
    session: Session, finding: Finding, known: SetupLane | None, anchor: SetupLane | None, setup_rate_hz: int
) -> LaneComparison:
    arrival = finding.arrival_samples
    if known is None or anchor is None:
        return LaneComparison(finding.lane_id, None, arrival, None, None, "not comparable")
    scale = session.rate_hz / setup_rate_hz
    expected = (anchor.move.shift_samples - known.move.shift_samples) * scale
    if arrival is None:
        return LaneComparison(finding.lane_id, expected, None, None, None, "not comparable")
    difference = arrival - expected
    tolerance = max(AGREEING_MS * session.rate_hz / 1000, SIGMAS * (finding.uncertainty_samples or 0.0))
    polarity_agrees = None
    if finding.polarity is not None:
        polarity_agrees = finding.polarity == known.move.polarity * anchor.move.polarity
    agrees = abs(difference) <= tolerance and polarity_agrees is not False
    return LaneComparison(
        finding.lane_id, expected, arrival, difference, polarity_agrees, "agrees" if agrees else "moved"
    )
