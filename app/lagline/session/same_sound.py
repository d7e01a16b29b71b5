"""Two lanes lined up by hand, on a sound that was pointed at in both."""

from __future__ import annotations

from msgspec.structs import replace

from lagline.session.edits import linked_lanes, with_shift, with_version
from lagline.session.values import SameSound, Session


def with_same_sound(session: Session, lane_id: str, sound: SameSound) -> Session:
    """Move a lane so that its sound at `sound.here_samples` falls on the other lane's; both are kept as what
    it was done by. Lanes linked to it move along.

    Raises NotInSession; ValueError where the lanes are one, or are linked, or the shift is out of bounds.
    """
    if sound.lane_id in linked_lanes(session, lane_id):
        raise ValueError(f"{session.lane(lane_id).name} moves along with the lane it is to be lined up on")
    version = session.current_version
    there, here = version.move(sound.lane_id), version.move(lane_id)
    heard = (sound.there_samples + there.shift_samples) / there.pace
    session = with_shift(session, lane_id, heard * here.pace - sound.here_samples)
    version = session.current_version
    origin = version.origin(lane_id)
    if origin is None:  # it is where it was recorded
        return session
    return with_version(
        session,
        replace(version, origins={**version.origins, lane_id: replace(origin, sound=sound)}),
    )
