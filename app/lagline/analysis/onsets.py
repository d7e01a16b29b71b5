"""First sounds: when a lane begins to move at an attack, to a fraction of a sample.

Two kinds of reading, as seismology picks first breaks: the first crossing of a low threshold over the
noise before the attack, and the split of the stretch into two of least joint variance (Akaike's
criterion; N. Maeda, "A method for reading and checking phase times in auto-processing system of seismic
wave data", Zisin 38, 1985, 365-379; from memory).
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.scan import Floats

FINER = 4
SHARES = (0.01, 0.02, 0.035, 0.06, 0.10)  # of the early peak
READINGS = len(SHARES) + 1
_SIDE = 12  # original samples on either side
_KERNEL = np.sinc(np.arange(-_SIDE * FINER, _SIDE * FINER + 1) / FINER) * np.kaiser(
    2 * _SIDE * FINER + 1, 6.0
)
_PHASES = [_KERNEL[phase::FINER] for phase in range(FINER)]
EARLY_S = 0.045  # the early peak lies within this time after the attack


class Picks(Struct, frozen=True):
    """First sounds of one lane at the attacks.

    position : samples after the window's beginning, shape (attacks, READINGS); NaN where there is none.
    sign : of the first half-wave above 10 % of the early peak, shape (attacks,); 0 where there is none.
    peak : early peak, shape (attacks,). is_cut : the recording itself begins inside the attack.
    """

    position: Floats
    sign: NDArray[np.int8]
    peak: Floats
    is_cut: NDArray[np.bool_]


def pick(pieces: NDArray[np.float32], lead: int, rate_hz: int) -> Picks:
    """Read the first sounds.

    Parameters
    ----------
    pieces : shape (attacks, length), each beginning `lead` samples before its attack, not tapered.
    """
    count = len(pieces)
    position = np.full((count, READINGS), np.nan)
    sign = np.zeros(count, np.int8)
    peaks = np.zeros(count)
    is_cut = np.zeros(count, bool)
    stop = min(lead + round(EARLY_S * rate_hz), pieces.shape[1])
    for row in range(count):
        piece = pieces[row, :stop].astype(np.float64)
        found = _pick_one(piece, lead, rate_hz)
        if found is not None:
            position[row], sign[row], peaks[row], is_cut[row] = found
    return Picks(position=position, sign=sign, peak=peaks, is_cut=is_cut)


def _pick_one(piece: Floats, lead: int, rate_hz: int) -> tuple[Floats, int, float, bool] | None:
    size = np.abs(piece)
    peak = float(size.max())
    if peak <= 1e-6:
        return None
    quiet_stop = max(lead - round(0.025 * rate_hz), 8)
    before = size[:quiet_stop]
    noise = max(1.4 * float(before.max()), 4.5 * float(np.sqrt(np.mean(before**2))))
    if noise > 0.35 * peak:
        return None
    # Only the stretch around the first movement is worth interpolating.
    first = int(np.argmax(size > 0.7 * max(SHARES[0] * peak, noise)))
    loudish = first + int(np.argmax(size[first:] > max(0.35 * peak, noise)))
    begin = max(first - round(0.008 * rate_hz), 0)
    fine = _finer(piece[begin : loudish + round(0.002 * rate_hz)])
    fine_size = np.abs(fine)
    readings = np.full(READINGS, np.nan)
    for k, share in enumerate(SHARES):
        threshold = max(share * peak, noise)
        at = int(np.argmax(fine_size > threshold))
        if at == 0:
            continue
        low, high = fine_size[at - 1], fine_size[at]
        readings[k] = (at - 1 + (threshold - low) / max(high - low, 1e-12)) / FINER
    if not np.isfinite(readings[0]):
        return None
    readings[-1] = _least_variance_split(fine, readings[0], peak, rate_hz)
    readings += begin
    loud = int(np.argmax(fine_size > max(0.10 * peak, noise)))
    return readings, int(np.sign(fine[loud])), peak, begins_cut(piece, first, peak, rate_hz)


def _finer(piece: Floats) -> Floats:
    """Four times as many samples, band-limited (windowed sinc, no ringing over the whole piece)."""
    fine = np.empty((len(piece), FINER))
    for phase, kernel in enumerate(_PHASES):
        fine[:, phase] = np.convolve(piece, kernel)[_SIDE : _SIDE + len(piece)]
    return fine.reshape(-1)


def _least_variance_split(fine: Floats, first: float, peak: float, rate_hz: int) -> float:
    """Akaike's split near the first crossing, in samples of the piece."""
    centre = int(first * FINER)
    start = max(centre - round(0.006 * rate_hz) * FINER, 0)
    rest = np.abs(fine[centre:])
    loud = centre + int(np.argmax(rest > 0.3 * peak))
    stop = min(max(loud, centre) + round(0.0006 * rate_hz) * FINER, len(fine))
    stretch = fine[start:stop]
    # A trace of noise: digital silence would make the logarithm decide everything.
    power = stretch**2 + (1e-3 * peak) ** 2
    count = len(power)
    if count < 16:
        return float(first)
    total = np.cumsum(power)
    k = np.arange(4, count - 4)
    left = total[k - 1] / k
    right = (total[-1] - total[k - 1]) / (count - k)
    best = int(k[np.argmin(k * np.log(left) + (count - k) * np.log(right))])
    return (start + best) / FINER


def begins_cut(piece: NDArray[np.floating], at: int, peak: float, rate_hz: int) -> bool:
    """Whether the recording jumps straight into the attack, so that its first sound is lost.

    `at` : index of the first sound in `piece`; `peak` : the early one after it. A sound that arrives through
    air starts gently: its first step is small beside the steps that follow.
    """
    before = piece[max(at - 40, 0) : max(at - 2, 0)]
    if len(before) < 8:
        return True
    steps = np.abs(np.diff(piece[max(at - 2, 0) : at + round(0.003 * rate_hz)]))
    if len(steps) < 8:
        return True
    jump = float(steps[:3].max())
    calm = float(np.abs(np.diff(before)).max())
    out_of_nothing = jump > 200 * calm
    steepest_of_all = jump > 100 * calm and jump > 0.92 * float(steps[3:].max())
    return bool(jump > 0.065 * peak and (out_of_nothing or steepest_of_all))
