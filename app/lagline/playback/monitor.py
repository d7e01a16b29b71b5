"""The listener's volume, and the copy of what leaves that the meters read."""

from __future__ import annotations

import numpy as np

from lagline.playback.reels import FloatArray

RAMP_S = 0.02


class MonitorGain:
    """A volume that moves in straight ramps; exactly 1.0 passes samples untouched."""

    def __init__(self, rate_hz: int) -> None:
        self._frames = max(1, round(RAMP_S * rate_hz))
        self._counts = np.arange(1, self._frames + 1)[:, np.newaxis]
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
            np.multiply(part[:count], ramp, out=part[:count], casting="same_kind")
            self._left -= count
            self._now = float(ramp[-1, 0]) if self._left else self._target
            part = part[count:]
        if self._now != 1.0:
            part *= np.float32(self._now)


class Tap:
    """The last second of what left the mixer, for meters that take their time.

    `written` is moved by the audio thread after the samples are in place; a reader that falls more than a
    second behind misses some.
    """

    def __init__(self, rate_hz: int) -> None:
        self._ring = np.zeros((rate_hz, 2), np.float32)
        self.written = 0

    def write(self, block: FloatArray) -> None:
        size = len(self._ring)
        at = self.written % size
        head = min(len(block), size - at)
        self._ring[at : at + head] = block[:head]
        if head < len(block):
            self._ring[: len(block) - head] = block[head:]
        self.written += len(block)

    def since(self, count: int) -> tuple[FloatArray, int]:
        """What was written after the first `count` frames, as far as still here, and the new count."""
        written, size = self.written, len(self._ring)
        frames = min(written - count, size // 2)
        return self._ring[np.arange(written - frames, written) % size], written
