"""How fast what is heard may become louder: the arithmetic of the hearing guard. Knows levels, no sound.

The *level heard* is the programme's own K-weighted level (LUFS without gates) plus every gain on its way to
the device: equal loudness, monitor, dim, guard. The performance may rise as it likes: music is not squashed.
What may not: whatever the listener or the machine does. Each such change is judged by the level at the same
place of the music before and after it; where it would become louder by more than is allowed in a second, the
guard owes the difference as attenuation, its *debt*, and pays it back at that pace.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable

USUAL_RISE_DB = 6.0  # a second
MARGIN_DB = 1.6  # levels of short stretches are known to half a dB: aim below what is promised
HIGHEST_CEILING_DBFS = -1.0  # of peaks; the engineer's own may be lower
START_LUFS = -45.0  # nothing begins louder after another take or device, and at launch
SILENT_LUFS = -90.0  # heard below this says nothing about what the ear is used to
LOUDEST_LUFS = 3.0  # a square wave at full scale on both sides

NOTICED_DB = 1.0  # less than that may be an error of measurement
NO_LIMIT = math.inf


class Guard:
    """Belongs to one thread. `debt_db`: what is to be taken from the sound now, 0 or more.

    `heard_lufs`: what was last heard that was not silence, known to the second; None before anything was.
    """

    def __init__(self, rate_hz: int) -> None:
        self.debt_db = 0.0
        self.heard_lufs: float | None = None
        self._is_heard = True
        self._rate_hz = rate_hz
        self._most_db = USUAL_RISE_DB - MARGIN_DB
        self._now = 0  # frames
        self._risen_db = 0.0  # by all changes so far, falls taken off
        self._risen_heard_db = 0.0  # as it was when something was last heard
        # Lowest values of it within the last second, oldest and lowest first.
        self._low: deque[tuple[int, float]] = deque([(0, 0.0)])
        self._cap_lufs: float | None = START_LUFS

    def allow(self, rise_db: float) -> None:
        """Set the largest rise in a second; NO_LIMIT switches the guard off."""
        self._most_db = rise_db - MARGIN_DB

    @property
    def is_on(self) -> bool:
        """Whether rises are limited at all."""
        return self._most_db < NO_LIMIT

    @property
    def is_low(self) -> bool:
        """Whether what was begun low is still held under its cap."""
        return self._cap_lufs is not None

    def begin(self, heard_lufs: float | None) -> None:
        """Take over from another guard, which knew what was heard last."""
        self.heard_lufs = heard_lufs
        self.start_low()

    def start_low(self) -> None:
        """What comes now may be anything: begin low, and no louder than what was heard last."""
        known = self.heard_lufs
        self._cap_lufs = START_LUFS if known is None else min(START_LUFS, known)

    def change(self, levels: Iterable[tuple[float, float]]) -> None:
        """Something other than the performance changes what is heard, from one frame to the next.

        levels : pairs of the level just before and just after, LUFS with all gains but the guard's, each
            pair over a stretch of music of its own. -inf where nothing is to be heard.
        """
        levels = tuple(levels)
        rise_db = self.rise_of(levels)
        if rise_db is None or not self.is_on:
            return
        if self.debt_db - NOTICED_DB < rise_db <= self.debt_db:
            return  # as loud as before, for all that is known: many small errors would add up to a rise
        if all(before - self.debt_db <= SILENT_LUFS for before, _ in levels):
            self._risen_db = self._risen_heard_db  # compared with what was heard before the silence
        self._become(rise_db)

    def turn(self, by_db: float) -> None:
        """A gain moves by so much, whatever it is that sounds or rests. Turned down is heard at once."""
        if by_db < 0.0:
            self._move(by_db)
        elif self.is_on:
            self._become(by_db + self.debt_db)

    def rise_of(self, levels: Iterable[tuple[float, float]]) -> float | None:
        """By how much a change would make it louder than what is heard now if nothing were owed."""
        rises = []
        for before, after in levels:
            heard = before - self.debt_db
            if after <= SILENT_LUFS:
                continue
            if heard > SILENT_LUFS:
                rises.append(after - heard)
            elif self.heard_lufs is not None:
                rises.append(after - self.heard_lufs)
        return max(rises, default=None)

    def hold_under(self, need_db: float) -> None:
        """Owe at least so much: what is coming would be louder than may be."""
        if need_db > self.debt_db and self.is_on:
            self.debt_db = need_db

    def would_move(self, levels: Iterable[tuple[float, float]]) -> bool:
        """Whether `change` would owe more or less than now, by what the ear notices."""
        rise_db = self.rise_of(levels)
        if rise_db is None or not self.is_on:
            return False
        debt_db = rise_db if rise_db > self._room_db() else 0.0
        return abs(debt_db - self.debt_db) > NOTICED_DB

    def cap(self, coming_lufs: float) -> None:
        """While starting low: keep what comes next, with all gains but the guard's, under the cap."""
        if self._cap_lufs is not None:
            self.hold_under(coming_lufs - self._cap_lufs)

    def advance(self, frames: int, *, paying: bool = True) -> None:
        """So much is played. Nothing is paid back while `paying` is off, and what is not heard is no time."""
        step_db = self._most_db * frames / self._rate_hz
        if not self._is_heard:
            if paying:
                self.debt_db = max(0.0, self.debt_db - step_db)
            return
        self._now += frames
        if self.is_on:
            if self.debt_db > 0.0 and paying:
                paid_db = min(self.debt_db, step_db, self._room_db())
                self.debt_db -= paid_db
                self._move(paid_db)
            if self._cap_lufs is not None:
                self._cap_lufs += step_db
                if self._cap_lufs > LOUDEST_LUFS:
                    self._cap_lufs = None
        self._note()

    def hear(self, level_lufs: float) -> None:
        """Take in what is heard now, guard and all."""
        self._is_heard = level_lufs > SILENT_LUFS
        if self._is_heard:
            self.heard_lufs, self._risen_heard_db = level_lufs, self._risen_db

    def rise_after(self, frames: int) -> float:
        """How much louder it may be so many frames after a change."""
        return self._most_db * max(1.0, frames / self._rate_hz)

    def _become(self, rise_db: float) -> None:
        """Louder than what is heard now by so much, if nothing were owed."""
        if rise_db <= self._room_db():
            self.debt_db = 0.0
            self._move(rise_db)
        else:
            self.debt_db = rise_db

    def _room_db(self) -> float:
        """What it may still become louder by at once."""
        return max(0.0, self._most_db - (self._risen_db - self._low[0][1]))

    def _move(self, by_db: float) -> None:
        self._risen_db += by_db
        self._note()

    def _note(self) -> None:
        low, now = self._low, self._now
        while low and low[-1][1] >= self._risen_db:
            low.pop()
        low.append((now, self._risen_db))
        while low[0][0] <= now - self._rate_hz:
            low.popleft()
