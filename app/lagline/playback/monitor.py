"""The listener's volume, and the copy of what leaves that the meters read."""

from __future__ import annotations

import numpy as np

from lagline.playback.reels import FloatArray, as_frames, weigh

RAMP_S = 0.02


class MonitorGain:
    """A volume that moves in straight ramps; exactly 1.0 passes samples untouched."""

    def __init__(self, rate_hz: int) -> None:
        self._frames = max(1, round(RAMP_S * rate_hz))
        self._counts = np.arange(1, self._frames + 1)
        self._now = 0.0
        self._target = 0.0
        self._left = 0
        self._step = 0.0

    def jump(self, gain: float) -> None:
        """Be at `gain` at once; for silent moments."""
        self._now = self._target = gain
        self._left = 0

    def apply(self, part: FloatArray, gain: float) -> None:
        """Weigh `part`, float32 (frames, 2), on the way to `gain`."""
        if gain != self._target:
            self._target, self._left = gain, self._frames
            self._step = (gain - self._now) / self._frames
        if self._left:
            count = min(self._left, len(part))
            ramp = self._now + self._step * self._counts[:count]
            weigh(part[:count], ramp)
            self._left -= count
            self._now = float(ramp[-1]) if self._left else self._target
            part = part[count:]
        if self._now != 1.0 and len(part):
            weigh(part, np.float32(self._now))


class Tap:
    """The last second of what left the mixer, for meters that take their time.

    `written` is moved by the audio thread after the samples are in place; a reader that falls more than a
    second behind misses some.
    """

    def __init__(self, rate_hz: int) -> None:
        self._ring = np.zeros((rate_hz, 2), np.float32)
        self._frames = as_frames(self._ring)
        self.written = 0

    def write(self, block: FloatArray) -> None:
        """Append a block, shape (frames, 2). Called by the audio thread: it only copies."""
        ring, whole = self._frames, as_frames(block)
        at = self.written % len(ring)
        head = min(len(block), len(ring) - at)
        ring[at : at + head] = whole[:head]
        if head < len(block):
            ring[: len(block) - head] = whole[head:]
        self.written += len(block)

    def since(self, count: int) -> tuple[FloatArray, int]:
        """What was written after the first `count` frames, as far as still here, and the new count."""
        written, size = self.written, len(self._ring)
        frames = min(written - count, size // 2)
        return self._ring[np.arange(written - frames, written) % size], written
