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
from lagline.analysis.colour import tone_phase
from lagline.analysis.scan import Floats
from lagline.analysis.spectra import INTERPOLATION, LaneSpectra, curve_of, smoothed
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
TAIL_S = 0.012
BEFORE_S = 0.010  # a direct sound may come this long before the loudest reflection
DIRECT_SHARE = 0.55  # of the loudest
LEAST_GAIN = 0.0012  # of height, by taking the tone out
MOST_TONE_SAMPLES = 24  # no microphone's tone delays by more
RIVAL_SHARE = 0.35  # of the highest peak: a source of its own may stand there
RIVAL_HEIGHT = 0.4
FEWEST_OWN = 4.0  # strokes of a lane's own that a match over them needs
MOST_OWN = 0.75  # of all windows
ALONE_BELOW = 0.65  # a higher peak needs no match over a lane's own strokes
SUNK = 0.8  # a peak that sinks below this beside the lane's own strokes belongs to another source


class Peak(Struct, frozen=True):
    """A peak of the match curve: arrival in samples, polarity, height 0..1."""

    arrival: float
    polarity: int
    height: float


class Match(Struct, frozen=True):
    """What correlation says of a pair; arrivals are of the second lane, relative to the cutting.

    coherent, plain : peaks of the two weightings, highest first. untoned : the highest peak once the phase
    that goes with the lanes' difference in tone is taken out, where that makes it clearly better; halfway :
    in a narrow band, where that can't be told, the highest peak were it so.
    tail : above 0 where more follows the peak than goes before it (the second lane is the wetter).
    direct : the peak of the direct sound, where a louder reflection hides it.
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
    a, b = first.values[used], second.values[used]
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
    tail = _tail(curve, peaks, reach, rate_hz)
    is_first_look = known is None
    untoned: Peak | None = None
    halfway: Peak | None = None
    plain: tuple[Peak, ...] = ()
    if not is_first_look:
        untoned, halfway = _without_tone(
            cross, phase, power_a, power_b, weight, peaks, coherence, size, reach
        )
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
        else _own(first, second, own_weights, g, used, peaks, band, width, weight, size, reach)
    )
    direct = None
    if own is None:
        direct = _direct_sound(cross, power_a, power_b, weight, peaks, tail, size, rate_hz, reach)
    sound = band & has_sound(power_a) & has_sound(power_b)
    return Match(
        coherent=peaks,
        untoned=untoned,
        halfway=halfway,
        tail=tail,
        turn=_turn(phase, weight, peaks, untoned, size) if effective > 10 else None,
        direct=direct,
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


def _own(
    first: LaneSpectra,
    second: LaneSpectra,
    own_weights: Floats | None,
    all_weights: Floats,
    used: NDArray[np.int64],
    peaks: tuple[Peak, ...],
    band: NDArray[np.bool_],
    width: int,
    weight: Floats,
    size: int,
    reach: int,
) -> tuple[Peak | None, tuple[Peak, ...]]:
    """What the choosier lane's own strokes say.

    Returns
    -------
    Of several sources' clear peaks the one of those strokes (None where the windows do not tell the peaks
    apart, so that they are reflections of one source), and the peaks of a match over those strokes alone.
    """
    if own_weights is None or not peaks:
        return None, ()
    is_clear = peaks[0].height > RIVAL_HEIGHT
    rivals = [p for p in peaks if p.height > RIVAL_SHARE * peaks[0].height]
    if is_clear and len(rivals) < 2:
        return None, ()
    g = own_weights[used]
    loud = g > 1e-2 * g.max(initial=0.0)
    if not loud.any():
        return None, ()
    rows, g = used[loud], g[loud]
    cross = weighted_cross(first.values[rows], second.values[rows], g)
    effective = float(g.sum() ** 2 / (g**2).sum())
    alone: tuple[Peak, ...] = ()
    # Where its own strokes are nearly all there is, they say nothing new.
    all_effective = float(all_weights.sum() ** 2 / (all_weights**2).sum())
    if peaks[0].height < ALONE_BELOW and FEWEST_OWN < effective < MOST_OWN * all_effective:
        power_a, power_b = weighted_power(first.values[rows], g), weighted_power(second.values[rows], g)
        independent = max(effective * max(0.6 * width, 1.0), 1.0)
        coherence, phase = coherence_of(cross, power_a, power_b, width, independent)
        of_own = weighting(coherence, power_a, power_b, band)
        alone = find_peaks(weighted_curve(phase, of_own, size, reach), reach, most=3, least=0.6)
    if not is_clear or len(rivals) < 2:
        return None, alone
    curve = weighted_curve(smoothed(cross, width), weight, size, reach)

    def stands(peak: Peak) -> float:
        at = round((peak.arrival + reach) * INTERPOLATION)
        return float((curve[max(at - 3, 0) : at + 4] * peak.polarity).max(initial=0.0))

    best = max(rivals, key=stands)
    height = max(stands(best), 1e-12)
    sunk = [stands(p) / height < SUNK * p.height / best.height for p in rivals if p is not best]
    return (best if any(sunk) else None), alone


def _tail(curve: Floats, peaks: tuple[Peak, ...], reach: int, rate_hz: int) -> float:
    """Logarithm of what the curve holds after its highest peak over what it holds before."""
    if not peaks:
        return 0.0
    at = round((peaks[0].arrival + reach) * INTERPOLATION)
    gap, span = (round(s * rate_hz * INTERPOLATION) for s in (0.0004, TAIL_S))
    after = float((curve[at + gap : at + span] ** 2).sum())
    before = float((curve[max(at - span, 0) : max(at - gap, 0)] ** 2).sum())
    return float(np.log((after + 1e-12) / (before + 1e-12)))


def _turn(
    phase: NDArray[np.complex128], weight: Floats, peaks: tuple[Peak, ...], untoned: Peak | None, size: int
) -> Turn | None:
    if not peaks or peaks[0].height < 0.45:
        return None
    best = max(peaks[0].height, untoned.height if untoned is not None else 0.0)
    return constant_turn(phase, weight, peaks[0].arrival, best, size)


def _direct_sound(
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


def _without_tone(
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


def find_peaks(curve: Floats, reach: int, most: int = 10, least: float = 0.25) -> tuple[Peak, ...]:
    """Local extremes of either sign, highest first, with a parabola through three points of the fine grid."""
    size = np.abs(curve)
    top = float(size.max()) if len(size) else 0.0
    if top <= 0:
        return ()
    inner = size[1:-1]
    at = 1 + np.flatnonzero((inner >= size[:-2]) & (inner > size[2:]) & (inner > least * top))
    at = at[np.argsort(-size[at], kind="stable")][:most]
    peaks = []
    for i in at:
        low, mid, high = size[i - 1], size[i], size[i + 1]
        bend = low - 2 * mid + high
        shift = 0.0 if bend >= 0 else 0.5 * (low - high) / bend
        peaks.append(
            Peak(
                arrival=float(i + np.clip(shift, -0.5, 0.5)) / INTERPOLATION - reach,
                polarity=1 if curve[i] >= 0 else -1,
                height=float(min(mid - 0.25 * (low - high) * shift, 1.0)),
            )
        )
    return tuple(peaks)


def _band(weight: Floats, bins: Floats) -> tuple[float, float, float]:
    """Limits that hold 90 % of the weight, and the effective width, Hz."""
    total = float(weight.sum())
    if total <= 0:
        return 0.0, 0.0, 0.0
    reached = np.cumsum(weight) / total
    low = float(bins[int(np.searchsorted(reached, 0.05))])
    high = float(bins[min(int(np.searchsorted(reached, 0.95)), len(bins) - 1)])
    return low, high, float(total**2 / (weight**2).sum()) * float(bins[1])
