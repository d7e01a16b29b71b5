"""The comb of two paths: what a sum of one sound and its delayed self does to each frequency.

`|1 + g exp(-j 2 pi f tau)|^2 = 1 + g^2 + 2 g cos(2 pi f tau)`, with g negative for an inverted second path.
Equal polarity has notches at (2k+1)/(2 tau) and peaks at k/tau; inverted polarity swaps them. It holds for
two copies of one sound: real lanes share only part of theirs, so their notches are shallower.
"""

from __future__ import annotations

import math

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike, NDArray

from lagline.units import db_to_gain, gain_to_db

FloatArray = NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 20.0, 20_000.0


class PairComb(Struct, frozen=True):
    """Predicted notches and peaks of one pair of lanes.

    `notches_hz`, `peaks_hz`: ascending, within the range asked for. `notch_db` (-inf at equal level) and
    `peak_db`: level there against the louder path alone. `delay_samples`: of the second path, unsigned.
    """

    delay_samples: float
    polarity: int
    notches_hz: tuple[float, ...]
    peaks_hz: tuple[float, ...]
    notch_db: float
    peak_db: float

    @property
    def ripple_db(self) -> float:
        """From notch to peak."""
        return self.peak_db - self.notch_db


def comb_db(frequency_hz: ArrayLike, delay_s: float, second_db: float = 0.0, polarity: int = 1) -> FloatArray:
    """Level of the sum against the first path alone, dB, at each frequency.

    Parameters
    ----------
    frequency_hz : array_like, Hz.
    delay_s : by which the second path is later, seconds; the sign does not matter.
    second_db : level of the second path against the first, dB.
    polarity : of the second path against the first, +1 or -1.
    """
    gain = polarity * db_to_gain(second_db)
    angle = 2 * np.pi * np.asarray(frequency_hz, dtype=np.float64) * delay_s
    power = 1 + gain**2 + 2 * gain * np.cos(angle)
    with np.errstate(divide="ignore"):
        result: FloatArray = 10 * np.log10(np.maximum(power, 0.0))
    return result


def notch_frequencies_hz(
    delay_s: float, polarity: int = 1, lowest_hz: float = LOWEST_HZ, highest_hz: float = HIGHEST_HZ
) -> tuple[float, ...]:
    """Where two paths `delay_s` apart cancel, ascending, Hz. Empty without a delay."""
    return _comb_places(delay_s, 0.5 if polarity > 0 else 0.0, lowest_hz, highest_hz)


def peak_frequencies_hz(
    delay_s: float, polarity: int = 1, lowest_hz: float = LOWEST_HZ, highest_hz: float = HIGHEST_HZ
) -> tuple[float, ...]:
    """Where two paths `delay_s` apart add fully, ascending, Hz. Empty without a delay."""
    return _comb_places(delay_s, 0.0 if polarity > 0 else 0.5, lowest_hz, highest_hz)


def peak_level_db(second_db: float) -> float:
    """Level where both paths add fully, against the louder alone, dB."""
    return gain_to_db(1.0 + db_to_gain(-abs(second_db)))


def notch_level_db(second_db: float) -> float:
    """Level where they cancel, against the louder alone, dB; -inf at equal level."""
    return gain_to_db(1.0 - db_to_gain(-abs(second_db)))


def pair_comb(
    delay_samples: float,
    rate_hz: float,
    second_db: float = 0.0,
    polarity: int = 1,
    lowest_hz: float = LOWEST_HZ,
    highest_hz: float = HIGHEST_HZ,
) -> PairComb:
    """Predict the comb of two lanes that hear one sound `delay_samples` apart.

    Parameters
    ----------
    delay_samples : what is left between the lanes in the version in question: difference of
        (arrival + shift). The sign does not matter.
    second_db : level of one lane against the other in the blend, dB; the sign does not matter.
    polarity : product of the polarities as heard, +1 or -1.
    """
    delay_s = abs(delay_samples) / rate_hz
    top = min(highest_hz, rate_hz / 2)
    return PairComb(
        delay_samples=abs(delay_samples),
        polarity=polarity,
        notches_hz=notch_frequencies_hz(delay_s, polarity, lowest_hz, top),
        peaks_hz=peak_frequencies_hz(delay_s, polarity, lowest_hz, top),
        notch_db=notch_level_db(second_db),
        peak_db=peak_level_db(second_db),
    )


def _comb_places(delay_s: float, offset: float, lowest_hz: float, highest_hz: float) -> tuple[float, ...]:
    """(k + offset) / delay for whole k >= 0, within the range."""
    spacing_s = abs(delay_s)
    if spacing_s * highest_hz < 1e-9:
        return ()
    first = max(math.ceil(lowest_hz * spacing_s - offset), 0)
    last = math.floor(highest_hz * spacing_s - offset + 1e-9)
    return tuple((k + offset) / spacing_s for k in range(first, last + 1))
