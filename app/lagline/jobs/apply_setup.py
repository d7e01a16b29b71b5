"""Apply a setup to another take, and say how well that take agrees with it."""

from __future__ import annotations

from typing import Literal

from msgspec import Struct

from lagline.session.findings import Alignment, Finding
from lagline.session.setup import SetupLane
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
