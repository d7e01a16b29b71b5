"""The look-ahead limiter at the end of the monitor path. It guards ears; it is no mixing tool."""

from __future__ import annotations

from collections import deque

import numpy as np
import numpy.typing as npt

from lagline.playback.guard import HIGHEST_CEILING_DBFS
from lagline.playback.reels import as_frames, weigh
from lagline.units import db_to_gain, gain_to_db

FloatArray = npt.NDArray[np.float32]

RELEASE_DB_PER_S = 50.0
MOST_REDUCTION_DB = 120.0  # what would ask for more is no sound; the way back takes 2.4 s at most
_ROUNDING = 1.0 - 2.0**-22  # keeps the product of two float32 under the ceiling to the last bit


class Limiter:
    """Holds both channels under the ceiling, delaying them by `delay_frames`.

    What goes in at most `most_frames` at a time comes out that much later, so that every peak is known a
    whole block before it leaves. Between blocks the gain is the least that anything on its way asks for,
    inside a block it moves in a straight line, and it recovers at a steady rate of dB: a few numbers a block,
    whatever there is to limit. Where nothing exceeds the ceiling the samples pass untouched, bit for bit,
    only later. A sample that is no sound (not a number, infinite, or beyond MOST_REDUCTION_DB over the
    ceiling) becomes silence: it would go out as it is, or turn down all that follows for good.

    Belongs to the audio thread. `reduction_db` is the largest reduction of the last block, 0 or more;
    `peaks` the largest samples that went in, left and right, but never above the ceiling.
    """

    def __init__(self, rate_hz: int, most_frames: int, ceiling_dbfs: float = HIGHEST_CEILING_DBFS) -> None:
        self.delay_frames = most_frames
        self.reduction_db = 0.0
        self.peaks = (0.0, 0.0)
        self.ceiling_dbfs = ceiling_dbfs
        self._ceiling = db_to_gain(ceiling_dbfs)
        self._most = self._ceiling * db_to_gain(MOST_REDUCTION_DB)  # more is no sound
        self._release_db = RELEASE_DB_PER_S / rate_hz  # a frame
        self._line = as_frames(np.zeros((most_frames, 2), np.float32))  # a ring of what is on its way
        self._at = 0  # the oldest frame in it
        self._kept = as_frames(np.zeros((most_frames, 2), np.float32))
        self._sizes = np.zeros((2, most_frames), np.float32)  # left, right
        self._no_sound = np.zeros(most_frames, np.bool_)
        self._counts = np.arange(1, most_frames + 1, dtype=np.float32)
        self._on_its_way: deque[tuple[int, float]] = deque()  # (input frame after it, gain that it needs)
        self._taken = 0  # input frames
        self._gain = 1.0

    def move_ceiling(self, ceiling_dbfs: float) -> None:
        """Another ceiling, also for what is on its way already."""
        self.ceiling_dbfs, self._ceiling = ceiling_dbfs, db_to_gain(ceiling_dbfs)
        top = float(np.abs(self._line.view(np.float32)).max())
        if top > self._ceiling:
            self._on_its_way.append((self._taken, self._ceiling / top * _ROUNDING))

    def process(self, block: FloatArray) -> None:
        """Replace `block`, float32 (frames, 2) without gaps, by the limited sound `delay_frames` earlier."""
        frames = len(block)
        left, right = self._peak(block, 0, frames), self._peak(block, 1, frames)
        self.peaks = min(left, self._ceiling), min(right, self._ceiling)
        before, after = self._gain, self._next_gain(max(left, right), frames)
        self._delay(as_frames(block), frames)
        if before != 1.0 or after != 1.0:
            ramp = np.float32(before) + self._counts[:frames] * np.float32((after - before) / frames)
            weigh(block, ramp)
        self.reduction_db = -gain_to_db(min(before, after)) if min(before, after) != 1.0 else 0.0

    def _peak(self, block: FloatArray, side: int, frames: int) -> float:
        sizes = np.abs(block[:, side], out=self._sizes[side, :frames])
        top = float(sizes[sizes.argmax()])  # a third of the time of max(); NaN if there is one
        return top if top <= self._most else self._silence_no_sound(block, side, sizes)

    def _silence_no_sound(self, block: FloatArray, side: int, sizes: FloatArray) -> float:
        """Zero what is no sound; the largest of the rest."""
        no_sound = np.less_equal(sizes, self._most, out=self._no_sound[: len(sizes)])
        np.logical_not(no_sound, out=no_sound)  # not "greater": that holds for no NaN
        np.copyto(block[:, side], 0.0, where=no_sound)
        np.copyto(sizes, 0.0, where=no_sound)
        return float(sizes[sizes.argmax()])

    def _delay(self, block: npt.NDArray[np.float64], frames: int) -> None:
        """Swap the frames of the block with the oldest on the line."""
        line, at = self._line, self._at
        kept = self._kept[:frames]
        kept[:] = block
        head = min(frames, len(line) - at)
        block[:head] = line[at : at + head]
        line[at : at + head] = kept[:head]
        if head < frames:
            block[head:] = line[: frames - head]
            line[: frames - head] = kept[head:]
        self._at = (at + frames) % len(line)

    def _next_gain(self, top: float, frames: int) -> float:
        """The gain at the end of this block: the least that what had not left by its start asks for."""
        self._taken += frames
        if top > self._ceiling:
            self._on_its_way.append((self._taken, self._ceiling / top * _ROUNDING))
        waiting, leaving_from = self._on_its_way, self._taken - frames - self.delay_frames
        while waiting and waiting[0][0] <= leaving_from:
            waiting.popleft()
        if self._gain == 1.0 and not waiting:
            return 1.0
        recovered = min(1.0, self._gain * db_to_gain(self._release_db * frames))
        self._gain = min([recovered, *(gain for _, gain in waiting)])
        return self._gain
