"""Where the hearing guard meets the sound: takes levels from the reels, tells the guard what changes.

`lagline.playback.guard` has the rules. A change is judged over the loudest 100 ms within a second of it,
before and after it at the same place of the music: shifts of some ms and the music's own attacks make no
difference to that. For two more seconds what comes is compared with what would have come: a change made in a
rest shows only with the next note.
"""

from __future__ import annotations

import math

from lagline.playback.guard import SILENT_LUFS, Guard
from lagline.playback.level_track import LevelTrack
from lagline.playback.reels import Reel
from lagline.playback.views import View
from lagline.units import SILENCE_DB

AROUND_S = 1.0  # music on either side of a change that it is judged by
AHEAD_S = 0.12  # what comes next: long enough to turn down in time
RECENT_S = 0.4  # a momentary level, as EBU Tech 3341 has it
WATCHED_S = 2.0
LOOK_S = 0.05  # between two looks at what is heard


class _Watch:
    """What would be heard had the last change not been made."""

    def __init__(
        self, levels: LevelTrack, slot: int, view: View, gain_db: float, debt_db: float, heard: float | None
    ) -> None:
        self.levels, self.slot, self.view = levels, slot, view
        self.gain_db, self.debt_db, self.heard = gain_db, debt_db, heard
        self.frames = 0


class Hearing:
    """Belongs to the audio thread."""

    def __init__(self, rate_hz: int) -> None:
        self.guard = Guard(rate_hz)
        self.level_lufs = SILENCE_DB  # heard now
        self._rate_hz = rate_hz
        self._around = round(AROUND_S * rate_hz)
        self._ahead = round(AHEAD_S * rate_hz)
        self._recent = round(RECENT_S * rate_hz)
        self._look_every = round(LOOK_S * rate_hz)
        self._until_look = self._until_check = 0
        self._watch: _Watch | None = None
        self._gain_db = SILENCE_DB

    def begin(self, reel: Reel, view: View, index: int) -> None:
        """Sound is about to begin here."""
        self._keep_down(reel, view, index)
        self._until_check = 0

    def turn(self, reel: Reel, view: View, index: int, gain_db: float) -> None:
        """The volume, or what equal loudness takes, moves."""
        by_db = gain_db - self._gain_db
        if not by_db:
            return
        if math.isfinite(by_db):
            self.guard.turn(by_db)
            if self._watch is not None:
                self._watch.gain_db += by_db  # judged by itself
        else:
            self.guard.change([(SILENCE_DB, self._level(reel, view, index) + gain_db)])
        self._gain_db, self._until_look = gain_db, 0

    def switch(
        self,
        reel: Reel,
        index: int,
        views: tuple[View, View],
        gain_db: float,
        whole: tuple[float, float] | None,
        *,
        whole_only: bool = False,
    ) -> None:
        """From one view to another, between two frames of one reel.

        whole : the loudness of the two versions over everything, where both are known.
        whole_only : go by that alone if it is: in a blind trial being turned down here or there would tell.
        """
        before, after = views
        pairs = [] if whole is None else [(whole[0] + self._gain_db, whole[1] + gain_db)]
        if not (whole_only and pairs):
            here = self._level(reel, before, index), self._level(reel, after, index)
            pairs.append((here[0] + self._gain_db, here[1] + gain_db))
            self._watch_from(reel, before)
        self.guard.change(pairs)
        self._gain_db, self._until_look = gain_db, 0

    def arrive(self, reel: Reel, index: int, view: View, gain_db: float) -> None:
        """At sound that cannot be compared with what was heard before at the same place."""
        self.guard.change([(SILENCE_DB, self._level(reel, view, index) + gain_db)])
        self._watch = None
        self._gain_db, self._until_look = gain_db, 0

    def splice(self, old: Reel, at: int, new: Reel, view: View) -> None:
        """From a frame of one reel to the reel that follows it there."""
        pairs = self._spliced(old, at, new, view)
        self._watch_from(old, view)
        self.guard.change(pairs)
        self._until_look = 0

    def is_moved_by(self, old: Reel, at: int, new: Reel, view: View) -> bool:
        """Whether `splice` would turn the sound up or down, which is to be done in silence."""
        return self.guard.would_move(self._spliced(old, at, new, view))

    def advance(self, reel: Reel, view: View, index: int, frames: int, *, paying: bool) -> None:
        """So many frames of this will be heard from `index` on."""
        guard = self.guard
        self._until_check -= frames
        if self._until_check <= 0:
            self._until_check = reel.levels.hop  # no more is known before
            self._keep_down(reel, view, index)
        if self._watch is not None:
            self._watch.frames += frames
        guard.advance(frames, paying=paying)
        self._until_look -= frames
        if self._until_look <= 0:
            self._until_look = self._look_every
            taken_db = self._gain_db - guard.debt_db
            guard.hear(self._level(reel, view, index) + taken_db)
            hops = reel.levels.hops(index - self._recent, index)
            self.level_lufs = reel.levels.mean_lufs(reel.slots[view.version_id], view, hops) + taken_db

    def rest(self) -> None:
        """Silence."""
        self.level_lufs = SILENCE_DB

    def _level(self, reel: Reel, view: View, index: int) -> float:
        if not reel.offers(view):
            return SILENCE_DB
        levels = reel.levels
        hops = levels.hops(index - self._around, index + self._around)
        return levels.loudest_lufs(reel.slots[view.version_id], view, hops)

    def _coming(self, reel: Reel, view: View, index: int) -> float:
        levels = reel.levels
        first, stop = levels.hops(index, index + self._ahead)
        return levels.loudest_lufs(reel.slots[view.version_id], view, (first - 1, stop))

    def _spliced(self, old: Reel, at: int, new: Reel, view: View) -> list[tuple[float, float]]:
        if not (old.offers(view) and new.offers(view)):
            return []
        before = self._level(old, view, at)
        hops = new.levels.hops(0, self._around)
        after = new.levels.loudest_lufs(new.slots[view.version_id], view, hops)
        return [(before + self._gain_db, after + self._gain_db)]

    def _watch_from(self, reel: Reel, view: View) -> None:
        if reel.offers(view):
            slot, debt_db = reel.slots[view.version_id], self.guard.debt_db
            self._watch = _Watch(reel.levels, slot, view, self._gain_db, debt_db, self.guard.heard_lufs)

    def _keep_down(self, reel: Reel, view: View, index: int) -> None:
        """Turn down in time for what comes next."""
        if self.guard.is_low or self._watch is not None:
            coming = self._coming(reel, view, index) + self._gain_db
            self.guard.cap(coming)
            if self._watch is not None and math.isfinite(coming):
                self._compare(self._watch, reel, index, coming)

    def _compare(self, watch: _Watch, reel: Reel, index: int, coming: float) -> None:
        if watch.frames > WATCHED_S * self._rate_hz:
            self._watch = None
            return
        here = index + reel.levels.base - watch.levels.base
        hops = watch.levels.hops(here - self._around, here + self._around)
        instead = watch.levels.loudest_lufs(watch.slot, watch.view, hops) + watch.gain_db - watch.debt_db
        if instead <= SILENT_LUFS:
            if watch.heard is None:
                return
            instead = watch.heard
        self.guard.hold_under(coming - instead - self.guard.rise_after(watch.frames))
