"""Where a lane stands in a version and how it came there, in words: the same wherever it is told."""

from __future__ import annotations

from lagline.session.values import Session, Version

AS_RECORDED = "as recorded"
TRYING = "trying: "
_BY = {
    "finding": "by finding",
    "earlier finding": "by an earlier finding",
    "hand": "by hand",
    "setup": "by setup",
    "part": "by a part of its shift",
}


def same_sound_words(session: Session, lane_id: str) -> str:
    """`Lined up by hand on a sound at 1.2345 s in near, 1.2371 s here.`; empty where it was not."""
    origin = session.current_version.origin(lane_id)
    sound = origin.sound if origin is not None else None
    if sound is None or not any(lane.id == sound.lane_id for lane in session.lanes):
        return ""
    there_s, here_s = (at / session.rate_hz for at in (sound.there_samples, sound.here_samples))
    name = session.lane(sound.lane_id).name
    return f"Lined up by hand on a sound at {there_s:.4f} s in {name}, {here_s:.4f} s here."


def placement_words(version: Version, lane_id: str) -> str:
    """`as recorded`, `by finding`, `trying: by runner-up 2`, `by hand, then flipped`.

    `moved` where a session of an earlier Lagline doesn't say how.
    """
    move, origin = version.move(lane_id), version.origin(lane_id)
    polarity = 1
    if origin is not None:
        is_runner_up = origin.by == "runner-up"
        words = f"by runner-up {origin.runner_up}" if is_runner_up else _BY[origin.by]
        words = "by same sound" if origin.sound is not None else words
        words += ", as whole" if origin.whole else ""
        polarity = origin.move.polarity
    elif move.shift_samples == move.rate_ppm == 0.0:
        words = AS_RECORDED
    else:
        words, polarity = "moved", move.polarity
    flipped = ", then flipped" if move.polarity != polarity else ""
    return f"{TRYING if lane_id in version.trying else ''}{words}{flipped}"
