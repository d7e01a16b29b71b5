"""Whether two lanes hear one source, or only look alike by chance, rhythm or spectrum.

Windows are let to stand in for each other: the second lane's window of one attack against the first lane's
of another (a permutation test; R. A. Fisher, "The Design of Experiments", 1935). Windows of attacks are
first moved so that each lane's own first sound lies at the same place: what is left of a match is then
the waveform, not the rhythm. Lanes that share a source match better in their own windows than in borrowed
ones.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.scan import Floats
from lagline.analysis.spectra import Complex, LaneSpectra, smoothed
from lagline.analysis.windows import Windows

GATE_S = 0.004  # of lag around the arrival: direct sound and first reflections
LOW_HZ, HIGH_HZ = 300.0, 8000.0
MOST_SHIFTS = 6
MOST_WINDOWS = 40  # of one kind
USUAL_SPREAD = 0.11  # of the logarithm of the ratio, where few borrowings tell
QUIET = 10**-4.5


class Kin(Struct, frozen=True):
    """Outcome of the test.

    deviation : standard deviations by which own windows match better than borrowed ones.
    ratio : of match energies, own over borrowed. windows : how many took part; 0: no test was possible.
    """

    deviation: float
    ratio: float
    windows: int


UNKNOWN = Kin(deviation=0.0, ratio=1.0, windows=0)


def kin(
    first: LaneSpectra,
    second: LaneSpectra,
    windows: Windows,
    locks: tuple[Floats, Floats],
    lag: float,
    size: int,
    rate_hz: int,
) -> Kin:
    """Test whether two lanes hear one source.

    Parameters
    ----------
    locks : of each lane, samples by which its first sound lies after the usual place, one a window; NaN
        where it has none (an attack window without one is left out). shape (windows,).
    lag : arrival of the second lane, samples, around which the match is looked for (after the locks).
    """
    loud = [np.sort(lane.energy)[-max(len(lane.energy) // 5, 1) :].mean() for lane in (first, second)]
    heard = (first.energy > QUIET * loud[0]) & (second.energy > QUIET * loud[1])
    locked = np.isfinite(locks[0]) & np.isfinite(locks[1])
    total_log = total_weight = total_variance = 0.0
    taking = 0
    band = _band(size, rate_hz)
    gate = _gate(size, rate_hz)
    for kind in np.unique(windows.kind):
        rows = np.flatnonzero((windows.kind == kind) & heard & locked)
        if len(rows) < 3:
            continue
        if len(rows) > MOST_WINDOWS:
            rows = rows[np.linspace(0, len(rows) - 1, MOST_WINDOWS).astype(np.int64)]
        a = _evened(first.values[rows], locks[0][rows], band, size)
        b = _evened(second.values[rows], locks[1][rows] + lag, band, size)
        own, borrowed = _energies(a, b, gate)
        if own <= 0 or not len(borrowed):
            continue
        logs = np.log(np.maximum(borrowed, 1e-30))
        count = len(logs)
        spread = float(np.var(logs, ddof=1)) if count > 1 else 0.0
        variance = (spread * (count - 1) + 3 * USUAL_SPREAD**2) / (count + 2) * (1 + 1 / count)
        weight = float(len(rows)) / variance
        total_log += weight * (np.log(own) - np.log(np.mean(borrowed)))
        total_weight += weight
        total_variance += weight**2 * variance
        taking += len(rows)
    if total_weight <= 0:
        return UNKNOWN
    mean = total_log / total_weight
    return Kin(
        deviation=float(mean / (np.sqrt(total_variance) / total_weight)),
        ratio=float(np.exp(mean)),
        windows=taking,
    )


def _evened(values: Complex, by: Floats, band: slice, size: int) -> Complex:
    """The band alone, moved earlier by so many samples a window, evened out by the lane's own mean spectrum,
    each window of unit energy."""
    part = values[:, band]
    power = smoothed((part.real**2 + part.imag**2).mean(axis=0), 25)
    part = part / np.sqrt(power + power.max() * 1e-6 + 1e-30)
    norm = np.sqrt((part.real**2 + part.imag**2).sum(axis=1, keepdims=True))
    if np.any(by):
        turn = np.float32(2 * np.pi / size) * np.arange(band.start, band.stop, dtype=np.float32)
        part = part * np.exp(1j * (by.astype(np.float32)[:, None] * turn[None, :]))
    return np.asarray(part / np.maximum(norm, 1e-20), np.complex64)


def _band(size: int, rate_hz: int) -> slice:
    """The bins that take part."""
    return slice(int(LOW_HZ * size / rate_hz) + 1, int(min(HIGH_HZ, 0.45 * rate_hz) * size / rate_hz))


@lru_cache(maxsize=4)
def _gate(size: int, rate_hz: int) -> NDArray[np.complex64]:
    """Transform from the band's bins to the lags within the gate, shape (lags, bins)."""
    band = _band(size, rate_hz)
    hz = np.arange(band.start, band.stop) * (rate_hz / size)
    step = 0.4 / HIGH_HZ
    lags = np.arange(-GATE_S, GATE_S + step / 2, step)
    return np.asarray(np.exp(2j * np.pi * lags[:, None] * hz[None, :]), np.complex64)


def _energies(a: Complex, b: Complex, gate: NDArray[np.complex64]) -> tuple[float, Floats]:
    """Match energy within the gate: own windows, and every borrowed set."""
    count = len(a)
    steps = range(1, count) if count - 1 <= MOST_SHIFTS else _spread_steps(count)
    crosses = [np.einsum("wf,wf->f", np.conj(a), b)]
    crosses += [np.einsum("wf,wf->f", np.conj(a), np.roll(b, step, axis=0)) for step in steps]
    curves = (gate @ np.array(crosses).T).real
    energy = (curves.astype(np.float64) ** 2).sum(axis=0)
    return float(energy[0]), energy[1:]


def _spread_steps(count: int) -> list[int]:
    return sorted({int(s) for s in np.linspace(1, count - 1, MOST_SHIFTS)})
