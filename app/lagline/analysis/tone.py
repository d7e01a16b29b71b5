"""Tone of blends and what two lanes share, frequency by frequency.

Third-octave bands: exact base-ten mid-band frequencies and edges of IEC 61260-1:2014 (G = 10^(3/10)); the
nominal figures on their labels are those of ISO 266. Band powers are sums of averaged spectra, not those of
the filters of that standard: right for how a passage is balanced, not a sound level meter.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.welch import Reader, Spectra, averaged_spectra, never, nothing, segment_frames_for

FloatArray = NDArray[np.float64]

SEGMENT_S = 0.68  # 32,768 at 48 kHz: 1.5 Hz, a third of the narrowest band
LEAST_SEGMENTS = 8  # fewer make coherence read as agreement: one segment always gives 1.0
FINE_PER_OCTAVE = 24
FLOOR_DB = -200.0

NOMINAL = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)  # a decade of ISO 266's third octaves


class Band(Struct, frozen=True):
    """One third-octave band. `nominal_hz` is for labels only."""

    nominal_hz: float
    centre_hz: float
    lower_hz: float
    upper_hz: float


class VersionTone(Struct, frozen=True):
    """Spectrum of one version's blend.

    `band_db`: power per third octave, dB (0 = full-scale mean square 1), one a band of the report.
    `fine_db`: density smoothed to 1/24 octave, dB per Hz, one a `fine_hz` of the report.
    `summing_gain_db`: blend power over the sum of the lanes' powers, dB: +3.01 for two equal lanes in step,
    0 for lanes that share nothing, below 0 where they cancel. NaN where the lanes are silent.
    """

    version_id: str
    band_db: tuple[float, ...]
    fine_db: tuple[float, ...]
    summing_gain_db: tuple[float, ...]


class ToneReport(Struct, frozen=True):
    """Tone of several versions over one passage. `segments` spectra were averaged.

    `lane_db`: mean level of each lane as it was read over the passage, dB (power, 20 Hz to 20 kHz).
    """

    bands: tuple[Band, ...]
    fine_hz: tuple[float, ...]
    versions: tuple[VersionTone, ...]
    segments: int
    lane_db: dict[str, float]

    def version(self, version_id: str) -> VersionTone | None:
        """The tone of one version; None if it wasn't measured."""
        return next((tone for tone in self.versions if tone.version_id == version_id), None)

    def band_change_db(self, from_id: str, to_id: str) -> tuple[float, ...]:
        """Third-octave level of one version over another, dB; empty if either was not measured."""
        return _difference(self.version(from_id), self.version(to_id), "band_db")

    def fine_change_db(self, from_id: str, to_id: str) -> tuple[float, ...]:
        """Level of one version over another at `fine_hz`, dB; empty if either was not measured."""
        return _difference(self.version(from_id), self.version(to_id), "fine_db")


class Coherence(Struct, frozen=True):
    """What a lane shares with the anchor: magnitude-squared coherence 0..1 and phase, per frequency.

    `phase_rad` of the lane against the anchor, -pi..pi. `unreliable_below`: independent noise stays under
    this in 95 % of the bins. `segments`: fewer than LEAST_SEGMENTS say nothing: `is_enough` is then false.
    """

    frequency_hz: tuple[float, ...]
    coherence: tuple[float, ...]
    phase_rad: tuple[float, ...]
    segments: int
    unreliable_below: float

    @property
    def is_enough(self) -> bool:
        """Whether enough segments were averaged for the curve to mean something."""
        return self.segments >= LEAST_SEGMENTS


def third_octave_bands(lowest_hz: float = 20.0, highest_hz: float = 20_000.0) -> tuple[Band, ...]:
    """Bands whose nominal mid-band frequency lies in the range (both ends included), ascending."""
    bands = []
    for index in range(-40, 41):
        decade, step = divmod(index, 10)
        nominal = round(1000.0 * 10.0**decade * NOMINAL[step], 6)
        if lowest_hz <= nominal <= highest_hz:
            centre = 1000.0 * 10.0 ** (index / 10)
            half = 10.0**0.05
            bands.append(Band(nominal, centre, centre / half, centre * half))
    return tuple(bands)


def band_powers(frequency_hz: FloatArray, density: FloatArray, bands: Sequence[Band]) -> FloatArray:
    """Power in each band from a one-sided density at evenly spaced frequencies, shape (bands,).

    A bin counts as spread over its own width, so that one across an edge is shared between two bands.
    """
    spacing = float(frequency_hz[1] - frequency_hz[0])
    edges = np.concatenate(([0.0], frequency_hz[:-1] + spacing / 2, [frequency_hz[-1]]))
    # The first and last bins are half as wide; their power is density x spacing like the others'.
    total = np.concatenate(([0.0], np.cumsum(density * spacing)))
    lower = np.interp([band.lower_hz for band in bands], edges, total)
    upper = np.interp([band.upper_hz for band in bands], edges, total)
    return np.asarray(upper - lower)


def fine_grid_hz(lowest_hz: float = 20.0, highest_hz: float = 20_000.0) -> FloatArray:
    """Frequencies of the fine spectrum, 24 an octave."""
    count = math.floor(FINE_PER_OCTAVE * math.log2(highest_hz / lowest_hz)) + 1
    return np.asarray(lowest_hz * 2.0 ** (np.arange(count) / FINE_PER_OCTAVE))


def fine_density(frequency_hz: FloatArray, density: FloatArray, grid_hz: FloatArray) -> FloatArray:
    """Mean density within 1/24 octave about each frequency of the grid (at least one bin wide)."""
    spacing = float(frequency_hz[1] - frequency_hz[0])
    half = 2.0 ** (0.5 / FINE_PER_OCTAVE)
    lower = np.maximum(np.minimum(grid_hz / half, grid_hz - spacing / 2), 0.0)
    upper = np.maximum(grid_hz * half, grid_hz + spacing / 2)
    bands = [Band(0.0, 0.0, float(low), float(high)) for low, high in zip(lower, upper, strict=True)]
    return np.asarray(band_powers(frequency_hz, density, bands) / (upper - lower))


def measure_tone(
    blends: Mapping[str, Reader],
    lanes: Mapping[str, Reader],
    start: int,
    stop: int,
    rate_hz: float,
    *,
    gains: Mapping[str, Mapping[str, float]] | None = None,
    progress: Callable[[float], None] = nothing,
    cancelled: Callable[[], bool] = never,
) -> ToneReport:
    """Spectra of several versions' blends over a passage, and what summing gained or lost.

    Parameters
    ----------
    blends : by version id; each reads (frames, 2), as heard.
    lanes : by lane id, (frames,).
    start, stop : session samples.
    gains : by version id and lane id, what each lane is multiplied by in the blend, 0 where it takes no part;
        1 by default. Pan keeps power, so it is left out.

    Raises
    ------
    ValueError
        No blend, or an empty passage.
    Cancelled
    """
    if not blends:
        raise ValueError("name at least one version")
    segment = segment_frames_for(stop - start, _segment(rate_hz))
    spectra = averaged_spectra(
        [*blends.values(), *lanes.values()],
        start,
        stop,
        rate_hz,
        segment_frames=segment, with_cross=False, progress=progress, cancelled=cancelled,
    )  # fmt: skip
    top = min(20_000.0, rate_hz / 2 / 10**0.05)
    bands = third_octave_bands(20.0, top)
    grid = fine_grid_hz(20.0, top)
    frequency = spectra.frequency_hz
    tones = []
    for index, version_id in enumerate(blends):
        weights = [(gains or {}).get(version_id, {}).get(lane_id, 1.0) ** 2 for lane_id in lanes]
        lane_bands = band_powers(frequency, np.tensordot(weights, spectra.power[len(blends) :], 1), bands)
        powers = band_powers(frequency, spectra.power[index], bands)
        fine = fine_density(frequency, spectra.power[index], grid)
        tones.append(
            VersionTone(
                version_id,
                tuple(_db(powers).tolist()),
                tuple(_db(fine).tolist()),
                tuple(summing_gain_db(powers, lane_bands).tolist()),
            )
        )
    levels = {
        lane_id: float(_db(band_powers(frequency, power, bands).sum(keepdims=True))[0])
        for lane_id, power in zip(lanes, spectra.power[len(blends) :], strict=True)
    }
    return ToneReport(bands, tuple(grid.tolist()), tuple(tones), spectra.segments, levels)


def summing_gain_db(blend_power: FloatArray, lane_power_sum: FloatArray) -> FloatArray:
    """Blend power over the sum of the lanes' powers, dB; NaN where the lanes are silent."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(lane_power_sum > 0, blend_power / lane_power_sum, np.nan)
        return np.asarray(10 * np.log10(np.maximum(ratio, 10 ** (FLOOR_DB / 10))))


def measure_coherence(
    anchor: Reader,
    lane: Reader,
    start: int,
    stop: int,
    rate_hz: float,
    *,
    segment_s: float = 0.1,
    progress: Callable[[float], None] = nothing,
    cancelled: Callable[[], bool] = never,
) -> Coherence:
    """Coherence and phase of a lane against the anchor over a passage.

    Read both where they are lined up: a delay of an eighth of a segment that is not taken out already
    lowers the coherence shown by a fifth, and half a segment makes related lanes look unrelated.
    """
    wanted = 1 << round(math.log2(max(segment_s * rate_hz, 256)))
    segment = segment_frames_for(stop - start, wanted)
    spectra = averaged_spectra(
        [anchor, lane],
        start,
        stop,
        rate_hz,
        segment_frames=segment,
        progress=progress,
        cancelled=cancelled,
    )
    return coherence_of(spectra)


def coherence_of(spectra: Spectra) -> Coherence:
    """Of the second signal against the first. Zero where either is silent."""
    first, second, cross = spectra.power[0], spectra.power[1], spectra.cross[1]
    both = first * second
    with np.errstate(divide="ignore", invalid="ignore"):
        squared = np.where(both > 0, np.abs(cross) ** 2 / both, 0.0)
    count = spectra.segments
    limit = 1.0 if count < 2 else 1.0 - 0.05 ** (1.0 / (count - 1))
    return Coherence(
        tuple(spectra.frequency_hz.tolist()),
        tuple(np.clip(squared, 0.0, 1.0).tolist()),
        tuple(np.angle(cross).tolist()),
        count,
        limit,
    )


def _segment(rate_hz: float) -> int:
    return 1 << round(math.log2(SEGMENT_S * rate_hz))


def _db(power: FloatArray) -> FloatArray:
    return np.asarray(10 * np.log10(np.maximum(power, 10 ** (FLOOR_DB / 10))))


def _difference(before: VersionTone | None, after: VersionTone | None, what: str) -> tuple[float, ...]:
    if before is None or after is None:
        return ()
    pairs = zip(getattr(before, what), getattr(after, what), strict=True)
    return tuple(later - earlier for earlier, later in pairs)
