"""Which of the lane colours each lane has: it stays the lane's own when others go, come or change places."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import count

from msgspec.structs import replace

from lagline.session.values import Lane, Session


def lane_colours(lanes: Sequence[Lane]) -> dict[str, int]:
    """By lane id the number of its colour, from 0: the one it has, else the first that no other has."""
    taken = {lane.colour for lane in lanes}
    free = (number for number in count() if number not in taken)
    return {lane.id: lane.colour if lane.colour is not None else next(free) for lane in lanes}


def with_colours_kept(session: Session) -> Session:
    """The session with each lane's colour written down, before lanes go or change places."""
    colours = lane_colours(session.lanes)
    return replace(session, lanes=tuple(replace(lane, colour=colours[lane.id]) for lane in session.lanes))


def with_colour(session: Session, lane_id: str, colour: int) -> Session:
    """The session with a lane in another colour, from 0; the others keep theirs. Raises NotInSession."""
    session.lane(lane_id)
    kept = with_colours_kept(session)
    return replace(
        kept,
        lanes=tuple(replace(lane, colour=colour) if lane.id == lane_id else lane for lane in kept.lanes),
    )
