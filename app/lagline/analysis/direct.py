"""The direct sound, where a louder reflection hides it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lagline.analysis.peaks import Peak
from lagline.analysis.scan import Floats
from lagline.analysis.spectra import INTERPOLATION, curve_of

TAIL_S = 0.012
BEFORE_S = 0.010  # a direct sound may come this long before the loudest reflection
DIRECT_SHARE = 0.55  # of the loudest


def tail_of(curve: Floats, peaks: tuple[Peak, ...], reach: int, rate_hz: int) -> float:
    """Logarithm of what the curve holds after its highest peak over what it holds before."""
    if not peaks:
        return 0.0
    at = round((peaks[0].arrival + reach) * INTERPOLATION)
    gap, span = (round(s * rate_hz * INTERPOLATION) for s in (0.0004, TAIL_S))
    after = float((curve[at + gap : at + span] ** 2).sum())
    before = float((curve[max(at - span, 0) : max(at - gap, 0)] ** 2).sum())
    return float(np.log((after + 1e-12) / (before + 1e-12)))


def direct_sound(
    cross: NDArray[np.complex128],
    power_a: Floats,
    power_b: Floats,
    weight: Floats,
    peaks: tuple[Peak, ...],
    tail: float,
    size: int,
    rate_hz: int,
    reach: int,
) -> Peak | None:
    """The outermost strong peak before a louder reflection; None where the loudest comes first.

    Reflections follow: beside a dry lane the curve of a wet one has its tail on the later side (the other
    way round where the first lane is the wetter). Whitened curves show ghosts on the other side too, so the
    peak must also stand in the response of the wet lane to the dry one (cross-spectrum over dry power).
    """
    wide = float(weight.sum() ** 2 / max(float((weight**2).sum()), 1e-30)) * rate_hz / size
    if not peaks or wide < 300:
        return None
    dry = power_a if tail > 0 else power_b
    floor = float(dry[weight > 0].mean()) * 1e-3
    response = curve_of(np.where(weight > 0, cross / (dry + floor), 0.0), size, reach)
    strongest = float(np.abs(response).max())
    lobe = max(0.6 * rate_hz / wide, 2.0)
    side = -1.0 if tail > 0 else 1.0
    top = peaks[0]
    outer = []
    for peak in peaks[1:]:
        if not 3 * lobe < side * (peak.arrival - top.arrival) < BEFORE_S * rate_hz:
            continue
        at = round((peak.arrival + reach) * INTERPOLATION)
        there = response[max(at - 2, 0) : at + 3] * peak.polarity
        if peak.height > DIRECT_SHARE * top.height and there.max(initial=0.0) > DIRECT_SHARE * strongest:
            outer.append(peak)
    return max(outer, key=lambda p: side * p.arrival, default=None)
