"""Where a lane stands in a version and how it came there, in words: the same wherever it is told."""

from __future__ import annotations

from lagline.session.values import Version

AS_RECORDED = "as recorded"
TRYING = "trying: "
_BY = {
    "finding": "by finding",
    "earlier finding": "by an earlier finding",
    "hand": "by hand",
    "setup": "by setup",
    "part": "by a part of its shift",
}


def placement_words(version: Version, lane_id: str) -> str:
    """`as recorded`, `by finding`, `trying: by runner-up 2`, `by hand, then flipped`.

    `moved` where a session of an earlier Lagline doesn't say how.
    """
    move, origin = version.move(lane_id), version.origin(lane_id)
    polarity = 1
    if origin is not None:
        is_runner_up = origin.by == "runner-up"
        words = f"by runner-up {origin.runner_up}" if is_runner_up else _BY[origin.by]
        polarity = origin.move.polarity
    elif move.shift_samples == move.rate_ppm == 0.0:
        words = AS_RECORDED
    else:
        words, polarity = "moved", move.polarity
    flipped = ", then flipped" if move.polarity != polarity else ""
    return f"{TRYING if lane_id in version.trying else ''}{words}{flipped}"
