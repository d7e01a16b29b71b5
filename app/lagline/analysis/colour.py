"""Taking out what two microphones' different tone does to the arrival.

A microphone, a loudspeaker box or a low cut is close to minimum phase: its phase follows from its level. The
level difference between two lanes so tells the phase that has nothing to do with distance
(A. V. Oppenheim and R. W. Schafer, "Discrete-Time Signal Processing", the relation of log-magnitude and
phase; from memory).
"""

from __future__ import annotations

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from lagline.analysis.scan import Floats

DEEPEST = 1e-3  # -60 dB below the strongest: noise lies there, not tone
STEEPEST = 8.0  # of the log-log slope: 48 dB an octave
OCTAVE_SHARE = 6  # the level difference is smoothed over a sixth of an octave


def tone_phase(
    cross: NDArray[np.complex128], power: Floats, lag: float, trusted: NDArray[np.bool_], size: int
) -> Floats:
    """Phase (radians a bin) of the minimum-phase system with the level of `cross / power`.

    Parameters
    ----------
    cross : cross-spectrum, conj(first) * second. power : of the first lane. shape (bins,).
    lag : samples by which the second is later, taken out before smoothing.
    trusted : bins whose level means something; beyond them the nearest trusted level is held.
    size : of the transform.
    """
    bins = np.arange(len(cross))
    straight = cross * np.exp(2j * np.pi * bins * lag / size)
    ratio = np.abs(_octave_mean(straight)) / np.maximum(_octave_mean(power).real, 1e-30)
    level = np.log(np.maximum(ratio, ratio[trusted].max() * DEEPEST if trusted.any() else 1e-30))
    if not trusted.any():
        return np.zeros(len(cross))
    level = _continued(level, trusted)
    cepstrum = scipy.fft.irfft(level, size)
    cepstrum[1 : size // 2] *= 2
    cepstrum[size // 2 + 1 :] = 0
    return np.asarray(scipy.fft.rfft(cepstrum).imag)


def _continued(level: Floats, trusted: NDArray[np.bool_]) -> Floats:
    """The level where it is trusted, joined across gaps, going on at its slope (a log-log line) outside."""
    where = np.flatnonzero(trusted)
    bins = np.arange(len(level))
    out = np.interp(bins, where, level[where])
    # The scale on which a digital filter (bilinear) falls in a straight line.
    log_bins = np.log(np.tan(np.pi / 2 * np.clip(bins / (len(level) - 1), 0.2 / len(level), 0.995)))
    for edge, inner, beyond, sign in (
        (where[-1], where[-1] / 1.5, bins > where[-1], -1.0),
        (where[0], where[0] * 1.5, bins < where[0], 1.0),
    ):
        near = where[(where >= min(edge, inner)) & (where <= max(edge, inner))]
        if len(near) < 8:
            continue
        slope = float(np.polyfit(log_bins[near], level[near], 1)[0])
        # A lane goes on losing level outside its band; it does not go on gaining.
        slope = sign * min(max(sign * slope, 0.0), STEEPEST)
        out[beyond] = level[edge] + slope * (log_bins[beyond] - log_bins[edge])
    return np.asarray(np.maximum(out, out.max() + np.log(1e-5)))


def _octave_mean(values: NDArray[np.complexfloating] | Floats) -> NDArray[np.complex128]:
    """Running mean over a constant share of an octave."""
    count = len(values)
    index = np.arange(count)
    half = np.maximum(index * (2 ** (0.5 / OCTAVE_SHARE) - 1), 2).astype(np.int64)
    total = np.concatenate(([0.0], np.cumsum(values.astype(np.complex128))))
    low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, count)
    return np.asarray((total[high] - total[low]) / (high - low))
