"""Between the session's rate and that of a device which cannot run at it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from lagline.playback.reels import FloatArray

_PULL_FRAMES = 256


class RateBridge:
    """Pulls sound at one rate and fills blocks at another (soxr, high quality).

    Everything before it, fades included, happens at the session's rate; the conversion's own delay is
    part of the output's latency. Belongs to the audio thread.
    """

    def __init__(self, fill: Callable[[FloatArray], None], rate_hz: int, device_rate_hz: int) -> None:
        import soxr  # only where it is needed: the engine starts faster without

        self._fill = fill
        self._converter = soxr.ResampleStream(rate_hz, device_rate_hz, 2, dtype="float32", quality="HQ")
        self._pulled = np.zeros((_PULL_FRAMES, 2), np.float32)
        self._waiting = np.zeros((0, 2), np.float32)

    def fill(self, out: FloatArray) -> None:
        """Write the next block at the device's rate into `out`, float32, shape (frames, 2)."""
        done = 0
        while done < len(out):
            if not len(self._waiting):
                self._fill(self._pulled)
                self._waiting = self._converter.resample_chunk(self._pulled)
            count = min(len(out) - done, len(self._waiting))
            out[done : done + count] = self._waiting[:count]
            self._waiting = self._waiting[count:]
            done += count
