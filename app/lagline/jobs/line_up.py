"""Measure a take: from a session to findings."""

from __future__ import annotations

from collections.abc import Callable

from lagline.analysis.align import align
from lagline.analysis.options import AnalysisOptions
from lagline.blend.clips import open_clips
from lagline.errors import TooFewLanes
from lagline.media.watched import Watched
from lagline.session.findings import Alignment
from lagline.session.values import Session


def no_progress(_: float) -> None:
    """For callers that show none."""


def never() -> bool:
    """For callers that cannot cancel."""
    return False


def line_up(
    session: Session,
    options: AnalysisOptions | None = None,
    *,
    progress: Callable[[float], None] = no_progress,
    cancelled: Callable[[], bool] = never,
) -> Alignment:
    """Measure how late every lane is; nothing is moved.

    Parameters
    ----------
    session : the take, as recorded (its versions make no difference).
    options : anchor, search range, passage; automatic by default.
    progress : told 0..1 as the work goes on.
    cancelled : asked often; True stops the work.

    Raises
    ------
    TooFewLanes, NothingToHear, Cancelled, MediaError
    """
    if len(session.lanes) < 2:
        raise TooFewLanes(lane.name for lane in session.lanes)
    with Watched(lane.source.path for lane in session.lanes):
        return align(
            session, open_clips(session), options or AnalysisOptions(), progress=progress, cancelled=cancelled
        )
