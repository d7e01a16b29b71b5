"""What two lanes hold most of, where a brighter, quieter source draws the weighted match away from it.

A weighted match asks every part of the spectrum alike, so bleed that fills the treble outvotes an instrument
that sounds below it. By energy (unweighted correlation, as a share of what both lanes hold) the instrument
explains most of both lanes, and the bleed next to nothing. A reflection or a resonance, by contrast, explains
about as much as the sound it follows.
"""

from __future__ import annotations

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from lagline.analysis.peaks import Peak, find_peaks
from lagline.analysis.scan import Floats
from lagline.analysis.spectra import INTERPOLATION, curve_of

LEAST_SHARE = 0.5  # of the energy of both lanes
MOST_OF_OTHER = 0.2  # of that again, at the match's own peak; generated rooms reach 0.85 there, bleed 0.06
APART = 8.0  # samples: nearer peaks are the lobes of one
SAME = 3.0  # samples: peaks of two weightings this near are one


def loudest_peak(
    cross: NDArray[np.complex128],
    power_a: Floats,
    power_b: Floats,
    band: NDArray[np.bool_],
    peaks: tuple[Peak, ...],
    size: int,
    reach: int,
) -> Peak | None:
    """The place of what both lanes hold most of, where the match's highest peak holds next to nothing of it.

    Parameters
    ----------
    cross, power_a, power_b : spectra over all windows. band : bins worth asking. peaks : of the weighted
        match, highest first.

    Returns
    -------
    Its height is the share of both lanes' energy, 0..1; None where there is no such dispute.
    """
    energy = float(np.sqrt(power_a[band].sum() * power_b[band].sum()))
    if not peaks or energy <= 0:
        return None
    curve = curve_of(np.where(band, cross, 0.0), size, reach) * (len(cross) / energy)
    loudest = next(iter(find_peaks(curve, reach, most=1)), None)
    if loudest is None or loudest.height < LEAST_SHARE or abs(loudest.arrival - peaks[0].arrival) < APART:
        return None
    at = round((peaks[0].arrival + reach) * INTERPOLATION)
    there = float(np.abs(curve[max(at - 3, 0) : at + 4]).max(initial=0.0))
    if there > MOST_OF_OTHER * loudest.height:
        return None
    sharper = (p for p in peaks if abs(p.arrival - loudest.arrival) < SAME and p.polarity == loudest.polarity)
    same = next(sharper, None)
    return loudest if same is None else replace(loudest, arrival=same.arrival)
