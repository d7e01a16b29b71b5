"""The raised-cosine fade that every switch, seek, start, stop and loop seam goes through.

ITU-R BS.1534-3 section 5.3 asks for 5 ms out, then 5 ms in, and for no cross-fade between two systems at
any time: two alignments heard at once would comb.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

FADE_S = 0.005


def fade_frames(rate_hz: int) -> int:
    """Length of a fade in frames."""
    return max(1, round(FADE_S * rate_hz))


@lru_cache(maxsize=8)
def rise(frames: int) -> npt.NDArray[np.float32]:
    """Gain after k frames of fading in, k = 0 .. frames: 0.0 at first and exactly 1.0 at last.

    float32, shape (frames + 1, 1), to be multiplied with (frames, channels).
    """
    steps = np.arange(frames + 1) / frames
    curve: npt.NDArray[np.float32] = (0.5 - 0.5 * np.cos(np.pi * steps)).astype(np.float32)[:, np.newaxis]
    curve.flags.writeable = False
    return curve
