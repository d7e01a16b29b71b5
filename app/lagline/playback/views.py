"""What is being listened to, as the audio thread needs to know it."""

from __future__ import annotations

from msgspec import Struct, field

from lagline.session.values import ORIGINAL_ID


class View(Struct, frozen=True):
    """One way of hearing the take.

    difference : the version minus the original, to hear only what the shifts change.
    mono : left and right averaged on both sides, because cancellation hides in stereo.
    turn : counts choices. Two views that differ only in it sound the same, yet going from one to the
        other dips like any switch: in a blind trial the dip must not give the answer away.
    """

    version_id: str = ORIGINAL_ID
    difference: bool = False
    mono: bool = False
    turn: int = 0


class Wanted(Struct, frozen=True):
    """What the listener asks for; swapped whole, so that a block sees all of the old or all of the new.

    play : token of the last play asked for, from 1. What has ended is told by it: news of the end of one play
        may arrive when the next has begun.
    jump : token of the last jump asked for. Silence does not end before that has been made, so that
        "go there and play" is not heard from the old place first.
    monitor_gain : amplitude factor of the volume.
    match_gains : amplitude factor by version id, none above 1.
    """

    playing: bool = False
    play: int = 1
    jump: int = 0
    view: View = View()
    monitor_gain: float = 0.0
    match_gains: dict[str, float] = field(default_factory=dict)
