"""The look-ahead limiter at the end of the monitor path. It guards ears; it is no mixing tool."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from lagline.units import db_to_gain

FloatArray = npt.NDArray[np.float32]

CEILING_DBFS = -1.0
LOOK_AHEAD_S = 0.002
RELEASE_DB_PER_S = 50.0


class Limiter:
    """Holds both channels under the ceiling, delaying them by `delay_frames`.

    The gain falls in a straight line of dB over the look-ahead, reaches what a peak needs when the peak
    leaves, and recovers at a steady rate of dB. Where nothing exceeds the ceiling the samples pass
    untouched, bit for bit, only later.

    Belongs to the audio thread. `reduction_db` is the largest reduction of the last block, 0 or more;
    `peaks` the largest samples of the last block, left and right, on their way in but never above the
    ceiling.
    """

    def __init__(self, rate_hz: int, most_frames: int, ceiling_dbfs: float = CEILING_DBFS) -> None:
        self.delay_frames = max(1, round(LOOK_AHEAD_S * rate_hz))
        self.reduction_db = 0.0
        self.peaks = (0.0, 0.0)
        self._ceiling = np.float32(db_to_gain(ceiling_dbfs))
        self._fall = RELEASE_DB_PER_S / rate_hz
        delay = self.delay_frames
        self._line = np.zeros((delay + most_frames, 2), np.float32)  # the delayed sound, then the block
        self._excess = np.zeros(delay + most_frames)  # dB over the ceiling, a frame
        self._reductions = np.zeros(delay + most_frames)  # dB after hold and release, a frame
        self._ramp = self._fall * np.arange(most_frames + 1)
        self._size = np.zeros((most_frames, 2), np.float32)
        self._active = False

    def process(self, block: FloatArray) -> None:
        """Replace `block`, float32 (frames, 2), by the limited sound of `delay_frames` earlier."""
        frames, delay = len(block), self.delay_frames
        line = self._line[: delay + frames]
        line[delay:] = block
        size = np.abs(block, out=self._size[:frames])
        left, right = size.max(axis=0).tolist()
        ceiling = float(self._ceiling)
        self.peaks = min(left, ceiling), min(right, ceiling)
        block[:] = line[:frames]
        if self._active or left > ceiling or right > ceiling:
            reduction = self._reduction(size.max(axis=1), frames)
            self.reduction_db = float(reduction.max())
            block *= np.power(10.0, reduction / -20.0)[:, np.newaxis].astype(np.float32)
            np.clip(block, -self._ceiling, self._ceiling, out=block)  # the last bit of rounding
        else:
            self.reduction_db = 0.0
        self._line[:delay] = line[frames:].copy()

    def _reduction(self, peaks: FloatArray, frames: int) -> npt.NDArray[np.float64]:
        """dB to take off each of the frames that leave now."""
        delay = self.delay_frames
        excess = self._excess[: delay + frames]
        excess[delay:] = 20.0 * np.log10(np.maximum(peaks, self._ceiling) / self._ceiling)
        held = _running_max(excess, delay + 1)
        ramp = self._ramp[: frames + 1]
        before = self._reductions[delay - 1]
        released = np.maximum.accumulate(np.concatenate([[before], held]) + ramp)[1:] - ramp[1:]
        reductions = self._reductions[: delay + frames]
        reductions[delay:] = np.maximum(released, 0.0)
        sums = np.concatenate([[0.0], np.cumsum(reductions)])
        # The mean of the last `delay` reductions, the newest included.
        smooth: npt.NDArray[np.float64] = (sums[delay + 1 :] - sums[1 : frames + 1]) / delay
        self._excess[:delay] = excess[frames:].copy()
        self._reductions[:delay] = reductions[frames:].copy()
        self._active = bool(self._excess[:delay].any() or self._reductions[:delay].any())
        return smooth


def _running_max(values: npt.NDArray[np.float64], width: int) -> npt.NDArray[np.float64]:
    """Largest of each `width` neighbours, shape (len(values) - width + 1,), by doubling."""
    have = 1
    while have < width:
        step = min(have, width - have)
        values = np.maximum(values[:-step], values[step:])
        have += step
    return values
