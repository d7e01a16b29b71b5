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

from lagline.analysis.peaks import Peak, find_peaks
from lagline.analysis.scan import Floats
from lagline.analysis.weighting import weighted_curve

LEAST_GAIN = 0.0012  # of height, by taking the tone out
MOST_TONE_SAMPLES = 24  # no microphone's tone delays by more
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


def without_tone(
    cross: NDArray[np.complex128],
    phase: NDArray[np.complex128],
    power_a: Floats,
    power_b: Floats,
    weight: Floats,
    peaks: tuple[Peak, ...],
    coherence: Floats,
    size: int,
    reach: int,
) -> tuple[Peak | None, Peak | None]:
    """The peak after the tone's phase is taken out (None where that does not make the match better), and
    what it would be with each lane's reading of the tone half believed (None in a wide band).
    """
    if not peaks or peaks[0].height < 0.25:
        return None, None
    trusted = (weight > 0) & (coherence > 0.2)
    if trusted.sum() < 50:
        return None, None
    by_first = tone_phase(cross, power_a, peaks[0].arrival, trusted, size)
    by_second = -tone_phase(np.conj(cross), power_b, -peaks[0].arrival, trusted, size)

    def peak_without(turn: Floats) -> Peak | None:
        curve = weighted_curve(phase * np.exp(-1j * turn), weight, size, reach)
        found = next(iter(find_peaks(curve, reach, most=1)), None)
        near = found is not None and abs(found.arrival - peaks[0].arrival) < MOST_TONE_SAMPLES
        return found if near else None

    halfway = peak_without(0.5 * (by_first + by_second))
    if np.flatnonzero(trusted)[-len(weight) // 100 :][0] < len(weight) // 8:
        # Through a narrow band the tone outside it, which decides the phase inside, is not known.
        return None, halfway
    # Noise in a lane lowers the level that is read against it: the truer of the readings matches better.
    tries = [peak_without(by_first), peak_without(by_second), halfway]
    best = max((peak for peak in tries if peak is not None), key=lambda peak: peak.height, default=None)
    if best is None:
        return None, None
    gained = best.height - peaks[0].height
    missing = 1 - peaks[0].height
    return (best if best.height > 0.6 and gained > max(0.25 * missing, LEAST_GAIN) else None), None
