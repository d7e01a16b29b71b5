"""How two lanes match: coherence-weighted correlation over many windows, with chance measured beside it.

Weightings after C. Knapp and G. Carter, "The generalized correlation method for estimation of time delay",
IEEE Trans. ASSP 24(4), 1976, 320-327. Chance is measured by letting windows stand in for each other: the
second lane's window of one attack against the first lane's of another. Lanes that share a source match
better in their own windows than in borrowed ones, whatever rhythm or spectrum they have in common.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.borrowed import Chance, borrowed_match
from lagline.analysis.colour import without_tone
from lagline.analysis.direct import direct_sound, tail_of
from lagline.analysis.loudest import loudest_peak
from lagline.analysis.own import own_peaks
from lagline.analysis.peaks import Peak, find_peaks
from lagline.analysis.scan import Floats
from lagline.analysis.spectra import LaneSpectra, smoothed
from lagline.analysis.turn import Turn, constant_turn
from lagline.analysis.weighting import (
    coherence_of,
    has_sound,
    weighted_cross,
    weighted_curve,
    weighted_power,
    weighting,
)
from lagline.analysis.windows import Windows

LOWEST_HZ = 60.0
TALL_HEIGHT = 0.55
MANY_WINDOWS = 12.0
SO_TALL, SO_WIDE_HZ = 0.8, 2000.0  # a peak so high over so wide a band is not measured against chance
MOST_CHANCE = 0.25  # which no lanes without a common source reach over many windows
DARK_HZ = 2000.0  # a match below this only has little to hold on to


class Match(Struct, frozen=True):
    """What correlation says of a pair; arrivals are of the second lane, relative to the cutting.

    coherent, plain : peaks of the two weightings, highest first. untoned : the highest peak once the phase
    that goes with the lanes' difference in tone is taken out, where that makes it clearly better; halfway :
    in a narrow band, where that can't be told, the highest peak were it so.
    tail : above 0 where more follows the peak than goes before it (the second lane is the wetter).
    direct : the peak of the direct sound, where a louder reflection hides it.
    loudest : the place of what both lanes hold most of, where the highest peak is of something else.
    own : of several sources' peaks, the one that the choosier lane's own strokes point at; alone : the
        peaks of a match over those strokes only, highest first.
    turn : where the phase is turned alike across the band.
    curve : coherent weighting, signed, `curve[i]` at lag `(i - middle) / 4`.
    chance : highest peak that borrowed windows reach (mean).
    gate_ratio : energy of the match near its peak over that of borrowed windows (1: chance).
    gate_sigma : standard deviation of that ratio's logarithm under chance.
    bandwidth_hz : effective width of what decided; low_hz, high_hz : its limits. mean_coherence : over the
    band where both lanes have sound. windows : windows with sound in both lanes; effective : how many they
    are worth. weight : spectrum weighting used, shape (bins,). each : weight of every window.
    """

    coherent: tuple[Peak, ...]
    untoned: Peak | None
    halfway: Peak | None
    tail: float
    direct: Peak | None
    loudest: Peak | None
    own: Peak | None
    alone: tuple[Peak, ...]
    turn: Turn | None
    plain: tuple[Peak, ...]
    curve: Floats
    chance: float
    gate_ratio: float
    gate_sigma: float
    bandwidth_hz: float
    low_hz: float
    high_hz: float
    mean_coherence: float
    windows: int
    effective: float
    weight: Floats
    each: Floats
    coherence: Floats
    phase: Floats


def window_weights(first: LaneSpectra, second: LaneSpectra) -> Floats:
    """Weight of each window by what both lanes have in it: shape (windows,), 0 where either is silent."""
    quiet = 10**-5.0
    weights = []
    for lane in (first, second):
        loud = (
            float(np.sort(lane.energy)[-max(len(lane.energy) // 10, 1) :].mean()) if len(lane.energy) else 0
        )
        weights.append(np.where(lane.energy > quiet * loud, lane.energy / max(loud, 1e-30), 0.0))
    shared = np.sqrt(np.minimum(weights[0], 1) * np.minimum(weights[1], 1))
    return np.asarray(np.sqrt(shared))


def match(
    first: LaneSpectra,
    second: LaneSpectra,
    windows: Windows,
    size: int,
    rate_hz: int,
    reach: int,
    *,
    known: Match | None = None,
    own_weights: Floats | None = None,
) -> Match | None:
    """Match two lanes over all windows; None when they never sound together.

    Parameters
    ----------
    size : of the transform. reach : lags up to this many samples on either side.
    known : an earlier look at the same pair; what chance can do is then not measured again. The first look
        only finds where about the lanes lie: it leaves tone, plain correlation and own strokes out.
    own_weights : how far each window holds the own instrument of one of the two, shape (windows,).
    """
    each = window_weights(first, second)
    used = np.flatnonzero(each > 0)
    if not len(used):
        return None
    is_all = len(used) == len(each)  # no copy then
    a, b = (lane.values if is_all else lane.values[used] for lane in (first, second))
    g = each[used]
    effective = float(g.sum() ** 2 / (g**2).sum())
    bins = np.arange(size // 2 + 1) * (rate_hz / size)
    band = (bins >= LOWEST_HZ) & (bins <= 0.47 * rate_hz) & ~(first.hum & second.hum)
    width = max(int(size / (2.5 * reach)), 1)
    power_a = weighted_power(a, g)
    power_b = weighted_power(b, g)
    cross = weighted_cross(a, b, g)
    independent = max(effective * max(0.6 * width, 1.0), 1.0)
    coherence, phase = coherence_of(cross, power_a, power_b, width, independent)
    weight = weighting(coherence, power_a, power_b, band)
    curve = weighted_curve(phase, weight, size, reach)
    peaks = find_peaks(curve, reach)
    tail = tail_of(curve, peaks, reach, rate_hz)
    is_first_look = known is None
    untoned: Peak | None = None
    halfway: Peak | None = None
    plain: tuple[Peak, ...] = ()
    if not is_first_look:
        untoned, halfway = without_tone(cross, phase, power_a, power_b, weight, peaks, coherence, size, reach)
        plain_weight, plain_cross = _plain(cross, power_a, power_b, band)
        plain = find_peaks(weighted_curve(plain_cross, plain_weight, size, reach), reach)
    chance = Chance()
    low, high, bandwidth = _band(weight, np.asarray(bins, np.float64))
    beyond_doubt = (
        bool(peaks) and peaks[0].height > SO_TALL and bandwidth > SO_WIDE_HZ and effective >= MANY_WINDOWS
    )
    if beyond_doubt:
        chance = Chance(height=MOST_CHANCE)
    elif peaks and not (known is not None and is_tall(known)):
        chance = borrowed_match(
            a,
            b,
            g,
            windows,
            used,
            band,
            width,
            independent,
            size,
            rate_hz,
            reach,
            peaks[0].arrival,
            power_a,
            power_b,
            wants_height=is_first_look,
        )
    own, alone = (
        (None, ())
        if is_first_look
        else own_peaks(first, second, own_weights, g, used, peaks, band, width, weight, size, reach)
    )
    direct = None
    if own is None:
        direct = direct_sound(cross, power_a, power_b, weight, peaks, tail, size, rate_hz, reach)
    sound = band & has_sound(power_a) & has_sound(power_b)
    return Match(
        coherent=peaks,
        untoned=untoned,
        halfway=halfway,
        tail=tail,
        turn=_turn(phase, weight, peaks, untoned, size) if effective > 10 else None,
        direct=direct,
        loudest=loudest_peak(cross, power_a, power_b, band, peaks, size, reach),
        own=own,
        alone=alone,
        plain=plain,
        curve=curve,
        chance=chance.height,
        gate_ratio=chance.ratio,
        gate_sigma=chance.sigma,
        bandwidth_hz=bandwidth,
        low_hz=low,
        high_hz=high,
        mean_coherence=float(coherence[sound].mean()) if sound.any() else 0.0,
        windows=len(used),
        effective=effective,
        weight=weight,
        each=each,
        coherence=coherence,
        phase=np.angle(phase),
    )


def _turn(
    phase: NDArray[np.complex128], weight: Floats, peaks: tuple[Peak, ...], untoned: Peak | None, size: int
) -> Turn | None:
    if not peaks or peaks[0].height < 0.45:
        return None
    best = max(peaks[0].height, untoned.height if untoned is not None else 0.0)
    return constant_turn(phase, weight, peaks[0].arrival, best, size)


def _plain(
    cross: NDArray[np.complex128], power_a: Floats, power_b: Floats, band: NDArray[np.bool_]
) -> tuple[Floats, NDArray[np.complex128]]:
    """Correlation after only the broad shape of the spectra is evened out (to its square root)."""
    scale = (smoothed(power_a, 257) * smoothed(power_b, 257)) ** 0.25
    magnitude = np.abs(cross)
    weight = np.where(band, magnitude / np.maximum(scale, scale.max() * 1e-3), 0.0)
    return weight, cross


def is_tall(match: Match) -> bool:
    """Whether the peak is so high, sharp and well founded that it needs no further witness."""
    if not match.coherent or match.effective < MANY_WINDOWS or match.high_hz < DARK_HZ:
        return False
    height = match.coherent[0].height
    return height > TALL_HEIGHT and height > 2.5 * match.chance


def _band(weight: Floats, bins: Floats) -> tuple[float, float, float]:
    """Limits that hold 90 % of the weight, and the effective width, Hz."""
    total = float(weight.sum())
    if total <= 0:
        return 0.0, 0.0, 0.0
    reached = np.cumsum(weight) / total
    low = float(bins[int(np.searchsorted(reached, 0.05))])
    high = float(bins[min(int(np.searchsorted(reached, 0.95)), len(bins) - 1)])
    return low, high, float(total**2 / (weight**2).sum()) * float(bins[1])
