"""What an ear would say of captured sound: how fast it became louder, and whether it clicked."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from lagline.blend.loudness import KWeighting, lufs_of

WINDOW_S, HOP_S = 0.2, 0.02
NOTHING_S = 0.002


def heard_lufs(sent: npt.NDArray[np.float32], rate_hz: int) -> npt.NDArray[np.float64]:
    """K-weighted level (ITU-R BS.1770-4) every 20 ms over 200 ms, silence cut out: it is no time to the ear.

    Silence is zeros for 2 ms; what fades within 20 ms of it is cut out with it.
    """
    power = np.square(KWeighting(rate_hz).filtered(sent)).sum(axis=1)
    run = round(NOTHING_S * rate_hz)
    edge = round(0.02 * rate_hz) + run
    zeros = np.concatenate([[0], np.cumsum(~sent.any(axis=1))])
    silent = np.zeros(len(sent), np.int64)
    silent[: len(sent) - run + 1] = zeros[run:] - zeros[:-run] == run
    near = np.concatenate([[0], np.cumsum(silent)])
    at = np.arange(len(sent))
    grown = near[np.minimum(at + edge, len(sent))] > near[np.maximum(at - edge, 0)]
    power = power[~grown]
    hop = round(HOP_S * rate_hz)
    hops = power[: len(power) // hop * hop].reshape(-1, hop).mean(axis=1)
    span = round(WINDOW_S / HOP_S)
    means = np.convolve(hops, np.ones(span) / span, mode="valid")
    return np.array([lufs_of(float(mean)) for mean in means])


def steepest_rise_db(levels: npt.NDArray[np.float64], within_s: float = 1.0) -> tuple[float, int]:
    """The largest rise of a level within a second, and at which window it ends."""
    span = round(within_s / HOP_S)
    rises = [levels[n] - levels[max(0, n - span) : n + 1].min() for n in range(len(levels))]
    worst = int(np.argmax(rises))
    return float(rises[worst]), worst
