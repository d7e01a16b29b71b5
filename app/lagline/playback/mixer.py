"""The audio thread's work: copy, fade, weigh, guard, limit. Knows no device, file, lock or process."""

from __future__ import annotations

import numpy as np

from lagline.blend.passage import fade_frames, rise
from lagline.playback.board import Board, Field
from lagline.playback.hearing import Hearing
from lagline.playback.limiter import Limiter
from lagline.playback.monitor import MonitorGain, Tap
from lagline.playback.reels import FloatArray, Handover, Reel, weigh
from lagline.playback.views import View, Wanted
from lagline.session.values import ORIGINAL_ID
from lagline.units import SILENCE_DB, db_to_gain, gain_to_db

# Longer blocks are filled in pieces. numpy lets other threads have the interpreter during any operation on
# more than 500 items, and waiting to get it back after each of some ten costs more than the work.
MOST_FRAMES = 256
READY_S = 0.06  # rendered sound needed before it starts
METER_FALL_DB_PER_S = 20.0
# Looking up a member of an enumeration takes longer than putting a number on the board.
_POSITION, _SOUNDING, _TURN = Field.POSITION, Field.SOUNDING, Field.TURN
_PEAK_LEFT, _PEAK_RIGHT, _REDUCTION_DB = Field.PEAK_LEFT, Field.PEAK_RIGHT, Field.REDUCTION_DB
_HELD_DB, _LEVEL_LUFS, _HEARD_FRAMES, _EAR_LUFS = (
    Field.HELD_DB,
    Field.LEVEL_LUFS,
    Field.HEARD_FRAMES,
    Field.EAR_LUFS,
)


class Mixer:
    """Fills blocks of stereo from reels.

    Every change of what is heard goes through one fade: out over 5 ms, change while silent, in over 5 ms.
    No two versions ever sound together, and no frame of the programme is dropped or repeated. An edit goes
    over without a fade, unless the hearing guard moves with it: then it is made in the silence of one.

    Written by other threads, each a single reference: `wanted`, `offer` and `openings`. Everything else
    belongs to the audio thread; `place` and `answered` may be read by others.
    """

    def __init__(self, rate_hz: int, board: Board) -> None:
        self.wanted = Wanted()
        self.offer: Handover | None = None
        self.openings = 0  # times a device was opened; each begins low
        self.place: tuple[Reel | None, int] = (None, 0)  # what is playing and its next frame
        self.answered: tuple[Handover | None, bool] = (None, True)  # the last offer decided; taken or refused
        self.rate_hz = rate_hz
        self.board = board
        self.tap = Tap(rate_hz)
        self.latency_frames = 0  # from here to the ear, besides the limiter's; set by the engine
        self._limiter = Limiter(rate_hz, MOST_FRAMES)
        self._gain = MonitorGain(rate_hz)
        self._hearing = Hearing(rate_hz)
        self._hearing.guard.begin(board[_EAR_LUFS] or None)
        self._plain: tuple[float, float] = (0.0, SILENCE_DB)  # the last gain without the guard's, and in dB
        self._beginning = (0, 0)  # take and openings that began low
        self._edition: int | None = None  # of the reel that the guard knows
        self._judged: tuple[Handover | None, View, bool] = (
            None,
            View(),
            False,
        )  # an offer, and if it is held
        self._hush = 0  # frames still to be passed in silence
        self._fade = fade_frames(rate_hz)
        self._rise = rise(self._fade)[:, 0]
        self._fall = self._rise[::-1].copy()
        self._ready = round(READY_S * rate_hz)
        self._other = np.zeros((MOST_FRAMES, 2), np.float32)
        self._reel: Reel | None = None
        self._index = 0
        self._view = View()
        self._phase = 0  # steps of the fade: 0 silent .. self._fade full
        self._jump = 0  # token of the last jump made
        self._jumped = True  # the reel began elsewhere than the one before it ended
        self._starving = False

    @property
    def delay_frames(self) -> int:
        """Frames by which what `fill` writes lies behind what it reads: the limiter's look-ahead."""
        return self._limiter.delay_frames

    def fill(self, out: FloatArray) -> None:
        """Write the next block into `out`, float32, shape (frames, 2)."""
        if not len(out):
            return
        pieces = -(-len(out) // MOST_FRAMES)
        size = -(-len(out) // pieces)
        left = right = reduction_db = 0.0
        for first in range(0, len(out), size):
            part = out[first : first + size]
            self._fill(part)
            self._limiter.process(part)
            self.tap.write(part)
            left, right = max(left, self._limiter.peaks[0]), max(right, self._limiter.peaks[1])
            reduction_db = max(reduction_db, self._limiter.reduction_db)
        self.place = (self._reel, self._index)
        self._show(len(out), left, right, reduction_db)

    def is_supplied(self, frames: int) -> bool:
        """Whether a block of this size can be filled without running dry. For devices that can wait.

        An offer that has come too late is refused here: the feeder renders nothing before it knows.
        """
        offer, reel = self.offer, self._reel
        if not self.wanted.playing:
            return True
        if offer is not None and offer is not self.answered[0] and self._is_too_late(offer):
            self.answered = (offer, False)
        if offer is self.answered[0]:
            offer = None
        if offer is not None and offer.at is None:
            return True  # it is rendered far enough to begin with
        return reel is not None and self._has(frames + self._ready + self._fade, reel, offer)

    def _fill(self, out: FloatArray) -> None:
        wanted, offer = self.wanted, self.offer
        if offer is self.answered[0]:
            offer = None
        self._follow(wanted)
        done = 0
        while done < len(out):
            if offer is not None and self._decide(offer):
                offer = None
            done += self._stretch(out[done:], wanted, offer)

    def _follow(self, wanted: Wanted) -> None:
        """What the listener asks of guard and limiter."""
        hearing, beginning = self._hearing, (wanted.take, self.openings)
        if beginning != self._beginning:
            self._beginning = beginning
            hearing.guard.start_low()
        hearing.guard.allow(wanted.most_rise_db)
        if wanted.ceiling_dbfs != self._limiter.ceiling_dbfs:
            self._limiter.move_ceiling(wanted.ceiling_dbfs)

    def _decide(self, offer: Handover) -> bool:
        """Take or refuse an offer if its moment has come."""
        if offer.at is None:
            taken = self._phase == 0
            if not taken:
                return False
        else:
            taken = not self._is_too_late(offer)
            if taken and offer.at > self._index:
                return False
        if taken:
            if self._reel is not None and offer.at is not None:
                if self._phase == 0 and self._needs_silence(offer):
                    self._hush = offer.reel.overlap  # the old sound goes over in it, at a gain not its own
                self._hearing.splice(self._reel, self._index, offer.reel, self._view)
                self._edition = offer.reel.edition
            self._reel, self._index = offer.reel, 0
            self._jumped = offer.at is None
            if self._jumped:
                self._hush = 0
            self.board[Field.ENDED] = 0
            if offer.token:
                self.board[Field.JUMP] = self._jump = offer.token
        self.answered = (offer, taken)
        return True

    def _is_too_late(self, offer: Handover) -> bool:
        """Whether a splice cannot be made any more: passed, or of a reel that is not played any more."""
        if offer.at is None:
            return False
        left = offer.at - self._index
        if left < 0 or (left < self._phase and self._needs_silence(offer)):
            return True
        return offer.base is not self._reel

    def _needs_silence(self, offer: Handover) -> bool:
        """Whether to fade out before a splice: what is heard ends there, or the guard moves."""
        if not offer.reel.follows(self._view):
            return True
        if self._judged[0] is not offer or self._judged[1] is not self._view:
            held = False
            if self._reel is not None and offer.at is not None:
                held = self._hearing.is_moved_by(self._reel, offer.at, offer.reel, self._view)
            self._judged = (offer, self._view, held)
        return self._judged[2]

    def _stretch(self, out: FloatArray, wanted: Wanted, offer: Handover | None) -> int:
        """Fill the beginning of `out` as far as one rule holds; returns the frames filled, at least 1."""
        reel = self._reel
        if reel is None:
            return self._rest(out)
        limit = splice = reel.written  # by `limit` the sound must have faded out, unless something changes
        if offer is not None and offer.at is not None:
            splice = offer.at
            if self._needs_silence(offer):
                limit = min(limit, splice)
        left = limit - self._index
        if self._phase == 0:
            self._settle(reel, wanted)
            if not wanted.playing or wanted.jump > self._jump or not self._is_ready(reel, wanted, offer):
                return self._rest(out)
            if self._hush or left < 2:  # or too short a rest before the splice to fade in and out again
                count = min(len(out), left, self._hush or left)
                self._hush = max(0, self._hush - count)
                out[:count].fill(0.0)
                self._index += count
                return count
        rising = self._phase < self._fade
        leaving = left - self._phase < (2 if rising else 1) or self._wants_change(reel, wanted, offer)
        curve: FloatArray | None = None
        if leaving:
            count = min(len(out), self._phase, splice - self._index)
            curve = self._fall[self._fade - self._phase + 1 :][:count]
        elif rising:
            room = (left - self._phase) // 2
            count = min(len(out), self._fade - self._phase, room, splice - self._index)
            curve = self._rise[self._phase + 1 :][:count]
        else:
            count = min(len(out), left - self._fade, splice - self._index)
        part = out[:count]
        self._copy(reel, part)
        if curve is not None:
            weigh(part, curve)
            self._phase += -count if leaving else count
        self._hearing.turn(reel, self._view, self._index, self._target(wanted)[1])
        self._hearing.advance(reel, self._view, self._index, count, paying=self._may_pay(wanted))
        self._gain.apply(part, self._guarded(wanted))
        self._index += count
        return count

    def _rest(self, out: FloatArray) -> int:
        out.fill(0.0)
        self._hearing.rest()
        return len(out)

    def _settle(self, reel: Reel, wanted: Wanted) -> None:
        """Change what is heard, in silence."""
        before = self._view
        if reel.offers(wanted.view):
            self._view = wanted.view
        elif not reel.offers(self._view):
            self._view = View()
        view, hearing, gain_db = self._view, self._hearing, self._target(wanted)[1]
        if reel.edition != self._edition:
            hearing.arrive(reel, self._index, view, gain_db)
        elif not view.sounds_like(before):
            whole = _whole_levels(wanted, before, view)
            hearing.switch(reel, self._index, (before, view), gain_db, whole, whole_only=wanted.sealed)
        else:
            hearing.turn(reel, view, self._index, gain_db)
        self._edition = reel.edition
        hearing.begin(reel, view, self._index)
        self._gain.jump(self._guarded(wanted))

    def _wants_change(self, reel: Reel, wanted: Wanted, offer: Handover | None) -> bool:
        if not wanted.playing or (offer is not None and offer.at is None):
            return True
        return wanted.view != self._view and reel.offers(wanted.view)

    def _is_ready(self, reel: Reel, wanted: Wanted, offer: Handover | None) -> bool:
        """Whether enough is rendered to start; says on the board why not."""
        length = reel.programme.length
        if length is not None and length - self._index < 2:
            self.board[Field.ENDED] = wanted.play
            return False
        if self._has(self._ready, reel, offer):
            self._starving = False
            return True
        if not self._starving:
            self._starving = True
            self.board[Field.STARVED] += 1
        return False

    def _has(self, frames: int, reel: Reel, offer: Handover | None) -> bool:
        """Whether so many frames from here on are rendered, or all up to the end of the programme.

        Past an offered splice those of the reel it leads to count. The feeder works on that one: nothing
        more will come in the old one, so waiting for it would be waiting for ever.
        """
        rendered = reel.written - self._index
        if offer is not None and offer.at is not None and offer.base is reel and offer.at >= self._index:
            rendered, reel = offer.at - self._index + offer.reel.written, offer.reel
        return rendered >= frames or reel.written == reel.programme.length

    def _copy(self, reel: Reel, out: FloatArray) -> None:
        view = self._view
        reel.copy(reel.slots[view.version_id], self._index, out)
        if view.difference:
            other = self._other[: len(out)]
            reel.copy(reel.slots[ORIGINAL_ID], self._index, other)
            for side in (0, 1):
                np.subtract(out[:, side], other[:, side], out=out[:, side])
        if view.mono:
            out[:, 0] += out[:, 1]
            out[:, 0] *= np.float32(0.5)
            out[:, 1] = out[:, 0]

    def _target(self, wanted: Wanted) -> tuple[float, float]:
        """What volume and equal loudness make of it, as a factor and in dB."""
        match = 1.0 if self._view.difference else wanted.match_gains.get(self._view.version_id, 1.0)
        gain = wanted.monitor_gain * match
        if gain != self._plain[0]:
            self._plain = (gain, gain_to_db(gain))
        return self._plain

    def _guarded(self, wanted: Wanted) -> float:
        """The factor that the guard leaves of it."""
        debt_db = self._hearing.guard.debt_db
        gain = self._target(wanted)[0]
        return gain * db_to_gain(-debt_db) if debt_db else gain

    def _may_pay(self, wanted: Wanted) -> bool:
        """Whether what the guard holds down may come up: not while equal loudness is still to be known."""
        view = self._view
        return not wanted.matching or view.difference or view.version_id in wanted.match_gains

    def _show(self, frames: int, left: float, right: float, reduction_db: float) -> None:
        """Put position and meters on the board."""
        numbers = self.board.numbers
        sounding = self._phase > 0
        if self._reel is not None:
            lag = self.delay_frames + self.latency_frames if sounding else 0
            heard = self._index - lag
            numbers[_POSITION] = self._reel.programme.position(max(0, heard) if self._jumped else heard)
        numbers[_SOUNDING] = float(sounding)
        if sounding:
            numbers[_HEARD_FRAMES] += frames
        numbers[_TURN] = self._view.turn
        numbers[_EAR_LUFS] = self._hearing.guard.heard_lufs or 0.0
        numbers[_HELD_DB] = self._hearing.guard.debt_db
        numbers[_LEVEL_LUFS] = self._hearing.level_lufs
        fall_db = METER_FALL_DB_PER_S * frames / self.rate_hz
        fall = 10.0 ** (fall_db / -20.0)
        numbers[_PEAK_LEFT] = max(left, numbers[_PEAK_LEFT] * fall)
        numbers[_PEAK_RIGHT] = max(right, numbers[_PEAK_RIGHT] * fall)
        numbers[_REDUCTION_DB] = max(reduction_db, numbers[_REDUCTION_DB] - fall_db)


def _whole_levels(wanted: Wanted, before: View, after: View) -> tuple[float, float] | None:
    """The loudness of two versions over everything, where it is known and says what is heard."""
    if before.difference or after.difference or before.mono != after.mono:
        return None
    known = wanted.loudness_lufs
    if before.version_id not in known or after.version_id not in known:
        return None
    return known[before.version_id], known[after.version_id]
