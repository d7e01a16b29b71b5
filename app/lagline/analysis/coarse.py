"""Lanes that start seconds apart: where their attacks coincide, found on levels, to a hop or two; and where
one phase transform over all lags puts them.
"""

from __future__ import annotations

import numpy as np
import scipy.fft
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.scan import Floats, Levels, Readable, Samples
from lagline.analysis.windows import attack_strength

NEAR_S = 0.06  # nearer than this the fine search finds it anyway
CLEARER = 1.5  # how much better a far place must match than the near one
CERTAIN = 80.0  # a peak's height over its curve's rms: of strangers under 25, of lanes far apart over 120
LOOK_S, LOOK_HZ = 120.0, 24_000  # of each lane, and the rate at which


class Coincidence(Struct, frozen=True):
    """Places where the second lane's attacks coincide with the first's.

    offsets : samples by which the second is later, best first. scores : normalised, 0..1.
    near_score : the best within NEAR_S of how the lanes lie now.
    """

    offsets: tuple[int, ...]
    scores: tuple[float, ...]
    near_score: float


def profile(levels: Levels) -> Samples:
    """How strongly the lane sets in, one value a hop, without its slow part."""
    strength = np.sqrt(attack_strength(levels, 0, len(levels.power)))
    return (strength - _running_mean(strength, 200)).astype(np.float32)


def coincide(
    first: Samples, second: Samples, hop: int, rate_hz: int, *, reach_hops: int | None = None, most: int = 3
) -> Coincidence:
    """Compare two profiles over the whole take.

    Parameters
    ----------
    reach_hops : look only this far on either side; None: as far as a quarter of the shorter overlap allows.
    """
    count = len(first)
    size = 1 << (2 * count - 1).bit_length()
    # In single precision and in place: two of these at a time are what a take of an hour costs most memory.
    spectrum = scipy.fft.rfft(first, size)
    np.conj(spectrum, out=spectrum)
    spectrum *= scipy.fft.rfft(second, size)
    full = scipy.fft.irfft(spectrum, size, overwrite_x=True)
    del spectrum
    reach = count * 3 // 4 if reach_hops is None else min(reach_hops, count - 1)
    near_hops = round(NEAR_S * rate_hz / hop)
    reach = max(reach, near_hops, 1)
    if reach >= count:
        reach = count - 1
    lags = np.arange(-reach, reach + 1)
    values = np.concatenate((full[size - reach :], full[: reach + 1]))
    del full
    energy_a = np.concatenate(([0.0], np.cumsum(first**2, dtype=np.float64)))
    energy_b = np.concatenate(([0.0], np.cumsum(second**2, dtype=np.float64)))
    # Energy of each lane in the stretch where they overlap at that lag.
    shared_a = energy_a[np.minimum(count, count - lags)] - energy_a[np.maximum(0, -lags)]
    shared_b = energy_b[np.minimum(count, count + lags)] - energy_b[np.maximum(0, lags)]
    shared_a *= shared_b
    norm = np.sqrt(np.maximum(shared_a, 0, out=shared_a), out=shared_a)
    whole = np.sqrt(energy_a[-1] * energy_b[-1])
    if whole <= 0:
        return Coincidence(offsets=(), scores=(), near_score=0.0)
    # A short overlap matches by chance: half of the whole's energy counts as overlap everywhere.
    score = values / (0.5 * norm + 0.5 * whole)
    near = np.abs(lags) <= near_hops
    near_score = float(score[near].max())
    kept: list[int] = []
    left = score.copy()
    while len(kept) < most:
        at = int(np.argmax(left))
        if left[at] <= 0:
            break
        kept.append(at)
        left[max(at - near_hops, 0) : at + near_hops + 1] = -1
    return Coincidence(
        offsets=tuple(int(lags[i]) * hop for i in kept),
        scores=tuple(float(score[i]) for i in kept),
        near_score=near_score,
    )


def far_offset(found: Coincidence, hop: int, rate_hz: int) -> int:
    """The offset to take: 0 unless a far place matches clearly better than the near one."""
    if not found.offsets or abs(found.offsets[0]) <= NEAR_S * rate_hz + hop:
        return 0
    if found.scores[0] > CLEARER * max(found.near_score, 0.05) and found.scores[0] > 0.2:
        return found.offsets[0]
    return 0


def looked_at(clip: Readable, begin: int, frames: int, rate_hz: int) -> NDArray[np.complex64]:
    """Spectrum of a lane's beginning, thinned out: what `over_all_lags` compares."""
    step = max(rate_hz // LOOK_HZ, 1)
    count = min(frames, round(LOOK_S * rate_hz)) // step
    x = np.asarray(clip.read(begin, begin + count * step), np.float32).reshape(count, step).mean(axis=1)
    size = scipy.fft.next_fast_len(2 * count, real=True)  # type: ignore[no-untyped-call]
    return np.asarray(scipy.fft.rfft(x, size), np.complex64)


def over_all_lags(
    first: NDArray[np.complex64], second: NDArray[np.complex64], rate_hz: int
) -> tuple[int, float]:
    """Lag of the second against the first at the highest peak of their phase transform, samples, and how far
    that stands over the curve's rms."""
    cross = np.conj(first) * second
    size = np.abs(cross)
    cross /= size + 1e-7 * size.max() + 1e-30
    curve = scipy.fft.irfft(cross, overwrite_x=True)
    at = int(np.argmax(np.abs(curve)))
    height = float(np.abs(curve[at]) / (np.sqrt(np.mean(curve**2)) + 1e-30))
    lag = at if at < len(curve) // 2 else at - len(curve)
    return lag * max(rate_hz // LOOK_HZ, 1), height


def _running_mean(values: Samples, width: int) -> Floats:
    if len(values) <= 2:
        return values.astype(np.float64)
    width = min(width, len(values))
    total = np.concatenate(([0.0], np.cumsum(values, dtype=np.float64)))
    index = np.arange(len(values))
    low = np.maximum(index - width // 2, 0)
    high = np.minimum(index + width // 2 + 1, len(values))
    return np.asarray((total[high] - total[low]) / (high - low))
