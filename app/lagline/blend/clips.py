"""Opening the recordings behind a session's lanes."""

from __future__ import annotations

from lagline.media.clip import Clip
from lagline.session.values import Session


def open_clips(session: Session) -> dict[str, Clip]:
    """One clip a lane, by lane id, delivered at the session's rate. Nothing is read yet.

    A recording that is missing or damaged raises its MediaError when it is first read.
    """
    return {lane.id: Clip(lane.source.path, lane.source.channel, session.rate_hz) for lane in session.lanes}
