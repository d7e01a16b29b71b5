"""What an ear would say of captured sound: how fast it became louder."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from lagline.blend.loudness import KWeighting, lufs_of
from lagline.playback.guard import SILENT_LUFS

WINDOW_S, HOP_S = 0.2, 0.02


def heard_lufs(sent: npt.NDArray[np.float32], rate_hz: int) -> npt.NDArray[np.float64]:
    """K-weighted level (ITU-R BS.1770-4) every 20 ms over 200 ms, silence cut out: it is no time to the ear.

    Silence is every 20 ms below -90 LUFS, with the 20 ms on either side of it, in which it fades.
    """
    power = np.square(KWeighting(rate_hz).filtered(sent)).sum(axis=1)
    hop = round(HOP_S * rate_hz)
    hops = power[: len(power) // hop * hop].reshape(-1, hop).mean(axis=1)
    silent = np.array([lufs_of(float(mean)) for mean in hops]) < SILENT_LUFS + 1.0
    near = np.convolve(silent, np.ones(3), mode="same") > 0.5
    span = round(WINDOW_S / HOP_S)
    means = np.convolve(hops[~near], np.ones(span) / span, mode="valid")
    return np.array([lufs_of(float(mean)) for mean in means])


def steepest_rise_db(levels: npt.NDArray[np.float64], within_s: float = 1.0) -> tuple[float, int]:
    """The largest rise of a level within a second, and at which window it ends."""
    span = round(within_s / HOP_S)
    rises = [levels[n] - levels[max(0, n - span) : n + 1].min() for n in range(len(levels))]
    worst = int(np.argmax(rises))
    return float(rises[worst]), worst
