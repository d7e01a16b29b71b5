"""What is being listened to, as the audio thread needs to know it."""

from __future__ import annotations

from msgspec import Struct, field
from msgspec.structs import replace

from lagline.playback.guard import HIGHEST_CEILING_DBFS, USUAL_RISE_DB
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

    def sounds_like(self, other: View) -> bool:
        """Whether both are the same to the ear."""
        return replace(self, turn=other.turn) == other


class Wanted(Struct, frozen=True):
    """What the listener asks for; swapped whole, so that a block sees all of the old or all of the new.

    play : token of the last play asked for, from 1. What has ended is told by it: news of the end of one play
        may arrive when the next has begun.
    jump : token of the last jump asked for. Silence does not end before that has been made, so that
        "go there and play" is not heard from the old place first.
    monitor_gain : amplitude factor of the volume.
    match_gains : amplitude factor by version id, none above 1.
    loudness_lufs : by version id, as far as known.
    matching : versions are to be equally loud. One whose gain is not known yet is held to what was heard.
    take : counts takes. Another one starts low.
    sealed : a blind trial: nothing but the version itself may sound different.
    most_rise_db, ceiling_dbfs : of the hearing guard: how much louder in a second, and the highest peak.
    """

    playing: bool = False
    play: int = 1
    jump: int = 0
    view: View = View()
    monitor_gain: float = 0.0
    match_gains: dict[str, float] = field(default_factory=dict)
    loudness_lufs: dict[str, float] = field(default_factory=dict)
    matching: bool = False
    take: int = 0
    sealed: bool = False
    most_rise_db: float = USUAL_RISE_DB
    ceiling_dbfs: float = HIGHEST_CEILING_DBFS
