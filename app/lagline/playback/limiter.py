"""The look-ahead limiter at the end of the monitor path. It guards ears; it is no mixing tool."""

from __future__ import annotations

from collections import deque

import numpy as np
import numpy.typing as npt

from lagline.units import db_to_gain, gain_to_db

FloatArray = npt.NDArray[np.float32]

CEILING_DBFS = -1.0
RELEASE_DB_PER_S = 50.0
_ROUNDING = 1.0 - 2.0**-22  # keeps the product of two float32 under the ceiling to the last bit


class Limiter:
    """Holds both channels under the ceiling, delaying them by `delay_frames`.

    What goes in at most `most_frames` at a time comes out that much later, so that every peak is known a
    whole block before it leaves. Between blocks the gain is the least that anything on its way asks for,
    inside a block it moves in a straight line, and it recovers at a steady rate of dB: a few numbers a block,
    whatever there is to limit. Where nothing exceeds the ceiling the samples pass untouched, bit for bit,
    only later.

    Belongs to the audio thread. `reduction_db` is the largest reduction of the last block, 0 or more;
    `peaks` the largest samples that went in, left and right, but never above the ceiling.
    """

    def __init__(self, rate_hz: int, most_frames: int, ceiling_dbfs: float = CEILING_DBFS) -> None:
        self.delay_frames = most_frames
        self.reduction_db = 0.0
        self.peaks = (0.0, 0.0)
        self._ceiling = db_to_gain(ceiling_dbfs)
        self._release_db = RELEASE_DB_PER_S / rate_hz  # a frame
        self._line = np.zeros((2 * most_frames, 2), np.float32)  # the delayed sound, then the block
        self._size = np.zeros((most_frames, 2), np.float32)
        self._counts = np.arange(1, most_frames + 1, dtype=np.float32)[:, np.newaxis]
        self._on_its_way: deque[tuple[int, float]] = deque()  # (input frame after it, gain that it needs)
        self._taken = 0  # input frames
        self._gain = 1.0

    def process(self, block: FloatArray) -> None:
        """Replace `block`, float32 (frames, 2), by the limited sound of `delay_frames` earlier."""
        frames, delay = len(block), self.delay_frames
        line = self._line[: delay + frames]
        line[delay:] = block
        left, right = np.abs(block, out=self._size[:frames]).max(axis=0).tolist()
        self.peaks = min(left, self._ceiling), min(right, self._ceiling)
        before, after = self._gain, self._next_gain(max(left, right), frames)
        block[:] = line[:frames]
        if before != 1.0 or after != 1.0:
            block *= np.float32(before) + self._counts[:frames] * np.float32((after - before) / frames)
        self.reduction_db = -gain_to_db(min(before, after))
        self._line[:delay] = line[frames:].copy()

    def _next_gain(self, top: float, frames: int) -> float:
        """The gain at the end of this block: the least that what had not left by its start asks for."""
        self._taken += frames
        if top > self._ceiling:
            self._on_its_way.append((self._taken, self._ceiling / top * _ROUNDING))
        waiting, leaving_from = self._on_its_way, self._taken - frames - self.delay_frames
        while waiting and waiting[0][0] <= leaving_from:
            waiting.popleft()
        recovered = 1.0
        if self._gain != 1.0:
            recovered = min(1.0, self._gain * db_to_gain(self._release_db * frames))
        self._gain = min([recovered, *(gain for _, gain in waiting)])
        return self._gain
