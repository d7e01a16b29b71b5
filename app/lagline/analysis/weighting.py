"""Averaging windows and weighting the spectrum by how far two lanes agree.

Weightings after C. Knapp and G. Carter, "The generalized correlation method for estimation of time delay",
IEEE Trans. ASSP 24(4), 1976, 320-327.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lagline.analysis.scan import Floats
from lagline.analysis.spectra import INTERPOLATION, Complex, curve_of, smoothed

MOST_WEIGHT = 12.0
ROWS_AT_ONCE = 8  # few enough to stay in the processor's cache: twice as fast as all at once


def weighted_power(values: Complex, g: Floats) -> Floats:
    """Power spectrum summed over windows, shape (bins,). values : (windows, bins); g : (windows,)."""
    # Not by `@`: the threads of a BLAS would fight ours for the two cores.
    parts = values.view(np.float32)
    scale = g[:, None].astype(np.float32)
    total = np.zeros(parts.shape[1])
    for first in range(0, len(parts), ROWS_AT_ONCE):
        rows = slice(first, first + ROWS_AT_ONCE)
        squares = parts[rows] * parts[rows]
        squares *= scale[rows]
        total += squares.sum(axis=0)
    return np.asarray(total[::2] + total[1::2])


def weighted_cross(a: Complex, b: Complex, g: Floats) -> NDArray[np.complex128]:
    """Sum over windows of g * conj(a) * b, shape (bins,); its angle is the phase of `b` against `a`."""
    total = np.zeros(a.shape[1], np.complex64)
    scale = g[:, None].astype(np.float32)
    for first in range(0, len(a), ROWS_AT_ONCE):
        rows = slice(first, first + ROWS_AT_ONCE)
        product = np.conj(a[rows])
        product *= scale[rows]
        product *= b[rows]
        total += product.sum(axis=0)
    return total.astype(np.complex128)


def coherence_of(
    cross: NDArray[np.complex128], power_a: Floats, power_b: Floats, width: int, independent: float
) -> tuple[Floats, NDArray[np.complex128]]:
    """Magnitude-squared coherence with its bias (1 over the averages) taken off, and the cross-phase."""
    soft = smoothed(cross, width)
    pa, pb = smoothed(power_a, width), smoothed(power_b, width)
    raw = np.abs(soft) ** 2 / np.maximum(pa * pb, 1e-30)
    if independent < 1.5:
        return np.full(len(raw), 0.3), soft
    bias = 1 / independent
    return np.clip((raw - bias) / (1 - bias), 0.0, 1.0), soft


def has_sound(power: Floats) -> NDArray[np.bool_]:
    """Which bins of a power spectrum lie within 70 dB of its loudest neighbourhood."""
    wide = smoothed(power, 33)
    return np.asarray(wide > wide.max() * 1e-7)


def weighting(coherence: Floats, power_a: Floats, power_b: Floats, band: NDArray[np.bool_]) -> Floats:
    """Maximum-likelihood weighting, capped, and with single lines held down to their surroundings."""
    weight = coherence / np.maximum(1.0 - coherence, 1 / MOST_WEIGHT)
    around = smoothed(weight, 129)
    weight = np.minimum(weight, 4 * around)
    return np.where(band & has_sound(power_a) & has_sound(power_b), weight, 0.0)


def weighted_curve(phase: NDArray[np.complex128], weight: Floats, size: int, reach: int) -> Floats:
    """Match against shift, -reach..reach samples in steps of 1 / INTERPOLATION; 1 is a perfect match."""
    total = float(weight.sum())
    if total <= 0:
        return np.zeros(2 * INTERPOLATION * reach + 1)
    unit = phase / np.maximum(np.abs(phase), 1e-30)
    return curve_of(unit * weight, size, reach) * (len(weight) / total)
