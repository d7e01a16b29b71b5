"""How well windows match that do not belong together: what chance, rhythm and spectrum alone can do."""

from __future__ import annotations

import numpy as np
import scipy.fft
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.scan import Floats
from lagline.analysis.spectra import Complex, smoothed
from lagline.analysis.weighting import coherence_of, weighted_cross, weighted_curve, weighting
from lagline.analysis.windows import Windows

SWAPS = 4
HEIGHT_SWAPS = 2
MOST_WINDOWS = 64  # of one pair; more would not make chance better known
GATE_S = 0.004  # around the arrival, within which energies are compared
USUAL_SPREAD = 0.12  # of the logarithm of such energies


class Chance(Struct, frozen=True):
    """height : highest peak of the match curve that borrowed windows reach (1: not known).

    ratio : energy of the own match near its place over that of borrowed ones; sigma : standard deviation of
    its logarithm under chance.
    """

    height: float = 1.0
    ratio: float = 1.0
    sigma: float = 1.0


def borrowed_match(
    a: Complex,
    b: Complex,
    g: Floats,
    windows: Windows,
    used: NDArray[np.int64],
    band: NDArray[np.bool_],
    width: int,
    independent: float,
    size: int,
    rate_hz: int,
    reach: int,
    lag: float,
    power_a: Floats,
    power_b: Floats,
    *,
    wants_height: bool,
) -> Chance:
    """Let windows stand in for each other.

    Parameters
    ----------
    a, b : spectra of the used windows; g : their weights; used : their indices in `windows`.
    lag : of the pair's own peak, samples.
    """
    if len(used) > MOST_WINDOWS and not wants_height:
        kept = np.linspace(0, len(used) - 1, MOST_WINDOWS).astype(np.int64)
        a, b, g, used = a[kept], b[kept], g[kept], used[kept]
    bins = np.arange(size // 2 + 1) * (rate_hz / size)
    middle = band & (bins > 250) & (bins < 9000)
    whiten = np.where(middle, 1 / np.sqrt(smoothed(power_a, 25) * smoothed(power_b, 25) + 1e-30), 0.0)
    gate = round(GATE_S * rate_hz)
    # Attack windows are dense in reverberation: compare around the common start of the attack.
    around = 0 if windows.is_attack[used].any() else round(lag)

    def gated(cross: NDArray[np.complex128]) -> float:
        full = scipy.fft.irfft(cross * whiten, size)
        piece = full[np.arange(around - gate, around + gate + 1) % size]
        return float((piece**2).sum())

    own = gated(weighted_cross(a, b, g))
    energies: list[float] = []
    heights: list[float] = []
    most = max(int((windows.kind[used] == kind).sum()) for kind in np.unique(windows.kind[used]))
    for step in range(1, min(SWAPS, most - 1) + 1):
        partner = _partners(windows, used, step if most <= 12 else step * 2 + 1)
        valid = partner >= 0
        weights = np.sqrt(g[valid] * g[partner[valid]])
        cross = weighted_cross(a[valid], b[partner[valid]], weights) * (g.sum() / max(weights.sum(), 1e-12))
        energies.append(gated(cross))
        if wants_height and len(heights) < HEIGHT_SWAPS:
            coherence, phase = coherence_of(cross, power_a, power_b, width, independent)
            weight = weighting(coherence, power_a, power_b, band)
            heights.append(float(np.abs(weighted_curve(phase, weight, size, reach)).max()))
    if not energies:
        return Chance()
    logs = np.log(np.maximum(energies, 1e-30))
    spread = float(np.std(logs, ddof=1)) if len(logs) > 1 else 0.3
    # Few borrowings say little about their own spread: lean on what is usual.
    sigma = float(np.sqrt((spread**2 * (len(logs) - 1) + 3 * USUAL_SPREAD**2) / (len(logs) + 2)))
    return Chance(
        height=float(np.mean(heights)) if heights else 1.0,
        ratio=own / max(float(np.mean(energies)), 1e-30),
        sigma=sigma,
    )


def _partners(windows: Windows, used: NDArray[np.int64], step: int) -> NDArray[np.int64]:
    """For each used window the index (into `used`) of another of the same kind, `step` turns on."""
    partner = np.full(len(used), -1)
    kinds = windows.kind[used]
    for kind in np.unique(kinds):
        of_kind = np.flatnonzero(kinds == kind)
        if len(of_kind) > 1:
            partner[of_kind] = np.roll(of_kind, -(1 + (step - 1) % (len(of_kind) - 1)))
    return partner
