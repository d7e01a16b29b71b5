"""Keeps the time of the audio callback: how long it takes, how late it comes."""

from __future__ import annotations

import time
from types import TracebackType

from lagline.playback.board import Board, Field

FOLLOWING = 0.02
# Looking up a member of an enumeration takes longer than putting a number on the board.
_BLOCKS, _BLOCK_FRAMES = Field.BLOCKS, Field.BLOCK_FRAMES
_LATE_BLOCKS, _WORST_LATENESS = Field.LATE_BLOCKS, Field.WORST_LATENESS


class Pulse:
    """Measures each callback on the board. Belongs to the audio thread once started.

    A block is late by how far its callback begins behind an even beat. The beat is that of the earliest
    block so far, and moves to later ones by a fiftieth of the difference a block: it follows the device's
    clock, which is never exactly ours, and forgets within a second what the device did when it started.
    A device that has run out of sound may begin another beat: what comes after is measured by that one, or
    every stop of the machine would count as dozens of late blocks.
    """

    def __init__(self, board: Board) -> None:
        self._board = board
        self._rate_hz = 1
        self._due: float | None = None
        self._begins_anew = False  # the beat, with the block after this one
        self._began = 0.0
        self._frames = 1

    def start(self, rate_hz: int) -> None:
        """A new device begins, at this rate."""
        self._rate_hz = rate_hz
        self._due = None
        self._begins_anew = False

    def underrun(self) -> None:
        """The device says it ran out of sound, before the block that comes now."""
        self._board[Field.UNDERRUNS] += 1
        self._begins_anew = True

    def beat(self, frames: int) -> Pulse:
        """Use as `with pulse.beat(frames):` around the work of a callback."""
        self._frames = frames
        return self

    def __enter__(self) -> None:
        numbers, now = self._board.numbers, time.perf_counter()
        self._began = now
        block_s = self._frames / self._rate_hz
        due = now if self._due is None else min(now, self._due + (now - self._due) * FOLLOWING)
        late = (now - due) / block_s
        self._due = (now if self._begins_anew else due) + block_s
        self._begins_anew = False
        numbers[_BLOCKS] += 1
        numbers[_BLOCK_FRAMES] = self._frames
        if late > 1.0:
            numbers[_LATE_BLOCKS] += 1
        if late > numbers[_WORST_LATENESS]:
            numbers[_WORST_LATENESS] = late

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        spent = time.perf_counter() - self._began
        self._board.count_duration(spent * self._rate_hz / self._frames)
