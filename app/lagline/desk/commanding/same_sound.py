"""Lining two lanes up by hand: the same sound is pointed at in both, and the second lane moves."""

from __future__ import annotations

from collections.abc import Callable

from lagline.analysis.attacks import find_attacks
from lagline.blend.mix import lane_signal
from lagline.desk.actions import Handler
from lagline.desk.panels.latest import LatestTask
from lagline.desk.parts import DeskParts
from lagline.session.same_sound import with_same_sound
from lagline.session.values import ORIGINAL, SameSound
from lagline.units import ms_to_samples

REACH_PIXELS = 12.0  # how near a beginning sound takes hold of a click
LEAST_REACH_MS, MOST_REACH_MS = 1.0, 60.0
AROUND_MS = 150.0  # what is listened to on either side, so that there is something to rise from
BEGIN = "Click a sound in the lane that stays; by key: put the playhead at it and press B. Esc ends it."
Pointed = tuple[str, float, bool]  # lane, session sample as recorded, whether a sound begins there


class SameSoundCommands:
    """Two clicks: the lane that stays, then the lane that is moved onto it."""

    def __init__(self, parts: DeskParts) -> None:
        self._parts = parts
        self._first: Pointed | None = None
        self._is_on = False
        self._seek = LatestTask("sound", parts.window)
        self._seek.done.connect(self._take)
        self._seek.failed.connect(parts.messages.show_problem)
        self._said = ""
        self.let_hear: Callable[[], None] = lambda: None

    def handlers(self) -> dict[str, Handler]:
        """What the command does, by its id."""
        return {"same_sound": self._begin_or_take}

    def end(self) -> bool:
        """Give it up; False when there was nothing to give up."""
        was_on, self._is_on, self._first = self._is_on, False, None
        self._seek.cancel()
        stack = self._parts.lanes.stack
        stack.let_point(False)
        stack.show_marks({})
        self._parts.messages.withdraw(self._said)
        return was_on

    def close(self) -> None:
        """End the thread."""
        self._seek.close()

    def point(self, lane_id: str, sample: float) -> None:
        """A sound at a session sample as the lane is drawn; the beginning of one nearby takes hold."""
        session, clips = self._parts.store.session, dict(self._parts.sounds.clips)
        if session is None or lane_id not in clips:
            return
        lane, rate_hz = session.lane(lane_id), session.rate_hz
        recorded = sample - session.current_version.move(lane_id).shift_samples
        least, most, around = (
            ms_to_samples(ms, rate_hz) for ms in (LEAST_REACH_MS, MOST_REACH_MS, AROUND_MS)
        )
        reach = min(max(REACH_PIXELS * self._parts.times.view.per_pixel, least), most)
        start = round(recorded - around)

        def seek(_cancelled: Callable[[], bool]) -> Pointed:
            signal = lane_signal(session, ORIGINAL, lane, clips, start, round(2 * around))
            begin = [start + attack.start_samples for attack in find_attacks(signal, rate_hz)]
            near = min(begin, key=lambda at: abs(at - recorded), default=None)
            if near is None or abs(near - recorded) > reach:
                return lane_id, recorded, False
            return lane_id, float(near), True

        self._seek.ask(seek)

    def _begin_or_take(self) -> None:
        stack = self._parts.lanes.stack
        if self._is_on:
            lane_id, session = stack.selection.current, self._parts.store.session
            if lane_id is not None and session is not None:  # waves are drawn at the recording's pace
                pace = session.current_version.move(lane_id).pace
                self.point(lane_id, self._parts.playing.state.position_samples * pace)
            return
        self._is_on = True
        stack.let_point(True)
        self._say(BEGIN)

    def _say(self, text: str) -> None:
        self._said = text
        self._parts.messages.show_standing(text)

    def _take(self, pointed: Pointed) -> None:
        session = self._parts.store.session
        if session is None or not self._is_on:
            return
        lane_id, at, begins = pointed
        there_are = {lane.id for lane in session.lanes}
        if lane_id not in there_are:
            return
        if self._first is not None and self._first[0] not in there_are:
            self._first = None
        if self._first is None or self._first[0] == lane_id:
            self._first = pointed
            self._parts.lanes.stack.show_marks({lane_id: at})
            where = "" if begins else " No sound begins there, so it is taken where you pointed."
            self._say(f"{session.lane(lane_id).name} stays.{where} Click the same sound in the lane to move.")
            return
        other_id, there, _ = self._first
        name, other = session.lane(lane_id).name, session.lane(other_id).name
        self._parts.edits.apply(
            f"Line {name} up on {other} by hand",
            lambda old: with_same_sound(old, lane_id, SameSound(other_id, there, at)),
        )
        self.end()
        if self._parts.store.session != session:
            self.let_hear()
            self._parts.lanes.stack.show_read_out((lane_id,), stays=False)
            self._parts.messages.show_note(
                f"{name} lies on {other} now. Left and Right move it by a sample; 1 and 2 compare."
            )
