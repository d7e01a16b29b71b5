"""How far a lane may be put by hand: further than this was a slip of the fingers. No Qt."""

from __future__ import annotations

from lagline.desk.amounts import time_text
from lagline.session.values import Session

ROOM_S = 60.0  # beyond the take's own length, for recordings of which one was begun much later


def checked_shifts(before: Session, after: Session) -> Session:
    """`after`, unless a lane has gone too far in it.

    A lane that was further out already may come back in steps. Raises ValueError with a sentence to show.
    """
    first, last = before.span()
    furthest = last - first + ROOM_S * before.rate_hz
    for lane in after.lanes:
        was = abs(before.current_version.move(lane.id).shift_samples)
        if abs(after.current_version.move(lane.id).shift_samples) > max(furthest, was):
            text = time_text(furthest, before.rate_hz, 0)
            raise ValueError(
                f"{lane.name} cannot be shifted that far: at most {text} either way, "
                "which is the length of the take and a minute more."
            )
    return after
