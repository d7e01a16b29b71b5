"""Mains hum: steady tones at 50 or 60 Hz and their multiples in the quiet stretches of a recording."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from lagline.media.extremes import FloatArray

Read = Callable[[int, int], FloatArray]

MAINS_HZ = (50, 60)  # IEC 60038 systems
_HARMONICS = 8
_NEEDED = 3  # multiples that must stand out, one of them among the first three
_STANDS_OUT_DB = 15.0  # over the median of the neighbourhood
_LONE_WINDOWS = 4  # that a tone without multiples must show in
_LONE_STANDS_OUT_DB = 30.0
_LONE_STEADY_DB = 3.0  # between the loudest window and the quietest
_LONE_WANDERS_HZ = 0.3  # from the mains frequency; grids keep to 0.2 Hz, common practice, no source
_WINDOWS = 6
_AS_QUIET = 2.0  # windows up to 6 dB over the quietest are looked at
_WINDOW_S = 1.3  # so long that 0.8 Hz are told apart
_SHORTEST_S = 0.5


def quiet_starts(lows: FloatArray, highs: FloatArray, bin_samples: int, rate_hz: int) -> list[int]:
    """First samples of the quietest windows that are not digital silence, from an overview's finest bins."""
    hop_bins = max(1, window_frames(rate_hz) // bin_samples // 2)
    levels = np.maximum(highs, -lows)
    hops = len(levels) // hop_bins
    if hops < 2:
        return [0] if levels.any() else []
    peaks = levels[: hops * hop_bins].reshape(hops, hop_bins).max(axis=1)
    peaks = np.maximum(peaks[:-1], peaks[1:])  # a window is two hops
    sounding = np.flatnonzero(peaks > 0.0)
    if len(sounding) == 0:
        return []
    order = sounding[np.argsort(peaks[sounding], kind="stable")]
    quiet = [hop for hop in order.tolist() if peaks[hop] <= _AS_QUIET * peaks[order[0]]][:_WINDOWS]
    return sorted(hop * hop_bins * bin_samples for hop in quiet)


def window_frames(rate_hz: int) -> int:
    """Length of the window hum is looked for in: a power of two, at least `_WINDOW_S` long."""
    return int(2 ** np.ceil(np.log2(_WINDOW_S * rate_hz)))


def find_hum(read: Read, starts: list[int], frames: int, rate_hz: int) -> tuple[int, float] | None:
    """Mains frequency in Hz and level of the hum in dBFS (a full-scale sine is 0), or None.

    Parameters
    ----------
    read : samples start..stop of the channel.
    starts : where the quiet windows begin.
    frames : length of the channel.
    """
    if frames < _SHORTEST_S * rate_hz or not starts:
        return None
    size = window_frames(rate_hz)
    highest_hz = (_HARMONICS + 1) * max(MAINS_HZ)
    spectra = _quiet_spectra(read, starts, size, int(min(0.5, highest_hz / rate_hz) * size))
    power = np.median(spectra, axis=0)  # what is steady stays
    found: tuple[int, float] | None = None
    for mains_hz in MAINS_HZ:
        level = _hum_power(power, rate_hz / size, mains_hz) or _lone_power(spectra, rate_hz / size, mains_hz)
        if level > 0.0:
            level_db = 10.0 * float(np.log10(level))
            if found is None or level_db > found[1]:
                found = mains_hz, level_db
    return found


def _quiet_spectra(read: Read, starts: list[int], size: int, bins: int) -> npt.NDArray[np.float64]:
    """Squared amplitude of a sine at each frequency in each window: shape (windows, bins)."""
    window = np.hanning(size + 1)[:size]
    scale = 2.0 / window.sum()
    spectra = [np.abs(np.fft.rfft(read(start, start + size) * window)[:bins]) * scale for start in starts]
    return np.square(np.asarray(spectra, dtype=np.float64))


def _hum_power(power: npt.NDArray[np.float64], step_hz: float, mains_hz: int) -> float:
    """Power of the multiples that stand out; 0 when they are too few."""
    strong: dict[int, float] = {}
    for multiple in range(1, _HARMONICS + 1):
        centre_hz = multiple * mains_hz
        slack_hz = 0.005 * centre_hz + 0.75 * step_hz  # the mains wander by some tenths of a Hz
        near = _around(power, step_hz, centre_hz, 12.0)
        if near.start >= near.stop:
            break  # beyond what this sample rate holds
        peak_bin = near.start + int(np.argmax(power[near]))
        if abs(peak_bin * step_hz - centre_hz) > slack_hz:
            continue
        floor = float(np.median(power[near]))
        if power[peak_bin] > max(floor, 1e-30) * 10.0 ** (_STANDS_OUT_DB / 10.0):
            strong[multiple] = float(power[peak_bin])
    if len(strong) < _NEEDED or min(strong) > 3:
        return 0.0
    return sum(strong.values())


def _lone_power(spectra: npt.NDArray[np.float64], step_hz: float, mains_hz: int) -> float:
    """Power of a tone at the mains frequency, or twice it, that stands by itself: at just that frequency, far
    over what is around it, and as loud in every window, which no note is; 0 without one.
    """
    power = np.median(spectra, axis=0)
    total = 0.0
    for multiple in (1, 2):
        near = _around(power, step_hz, multiple * mains_hz, 12.0)
        if near.start >= near.stop or len(spectra) < _LONE_WINDOWS:
            break
        peak_bin = near.start + int(np.argmax(power[near]))
        floor = max(float(np.median(power[near])), 1e-30)
        levels = spectra[:, peak_bin]
        is_steady = float(levels.max()) < 10.0 ** (_LONE_STEADY_DB / 10.0) * max(float(levels.min()), 1e-30)
        off_hz = abs(_peak_bin(power, peak_bin) * step_hz - multiple * mains_hz)
        stands_out = float(power[peak_bin]) > floor * 10.0 ** (_LONE_STANDS_OUT_DB / 10.0)
        if is_steady and stands_out and off_hz < multiple * _LONE_WANDERS_HZ:
            total += float(power[peak_bin])
    return total


def _peak_bin(power: npt.NDArray[np.float64], peak_bin: int) -> float:
    """The place of a peak between bins: a parabola through three levels."""
    if not 0 < peak_bin < len(power) - 1:
        return float(peak_bin)
    below, at, above = np.log(np.maximum(power[peak_bin - 1 : peak_bin + 2], 1e-30))
    bend = below - 2.0 * at + above
    return peak_bin + (0.5 * float(below - above) / float(bend) if bend < 0.0 else 0.0)


def _around(power: npt.NDArray[np.float64], step_hz: float, centre_hz: float, reach_hz: float) -> slice:
    first = int((centre_hz - reach_hz) / step_hz)
    return slice(max(1, first), min(len(power), int((centre_hz + reach_hz) / step_hz) + 2))
