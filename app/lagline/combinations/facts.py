"""What can be said of each cell beside the ear: figures, all from one measurement of the signals.

Loudness: ITU-R BS.1770-4. Third octaves: IEC 61260-1:2014, as `analysis.tone` has them. Summing gain: power
of the sum over the sum of the powers: +3.01 dB where two equal lanes are in step, 0 where they share nothing,
below 0 where they cancel. The ranges called low, middle and high are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from lagline.analysis.tone import FLOOR_DB, Band, band_powers, fine_density, fine_grid_hz, third_octave_bands
from lagline.analysis.welch import never, nothing
from lagline.blend.loudness import exact_match_gains
from lagline.blend.loudness_match import level_match
from lagline.blend.mix import ClipLike
from lagline.blend.passage import fade_frames, rise
from lagline.blend.signals import Signals, pair_places, pair_weights
from lagline.combinations.cells import Cell
from lagline.combinations.sums import Sums, cell_signals, measured_sums
from lagline.session.values import Session

Array = NDArray[np.float64]

RANGES_HZ = ((20.0, 250.0), (250.0, 4_000.0), (4_000.0, 20_000.0))  # low, middle, high
NOTCH_DB = 3.0  # a dip shallower than this is none
MOST_TOLD_NOTCHES = 8
RIPPLE_HZ = (50.0, 16_000.0)
_HEARD_DB = 50.0  # what lies further below the loudest is not heard to ripple
_DEEPEST_DB = -30.0
_AT_ONCE = 32  # cells


class Notch(Struct, frozen=True):
    """Where the lanes of a cell cancel: by how much they are weaker together than the sum of their powers."""

    frequency_hz: float
    depth_db: float  # positive


class CellFacts(Struct, frozen=True):
    """The figures of one cell. Decibels, unless named otherwise; NaN where there is nothing to say.

    loudness_lufs : -inf for silence.
    match_db : what it is turned down by, to be as loud as the quietest cell. Never above 0.
    crest_db : highest sample over the mean power, on the louder side.
    tone_db : third octaves at equal loudness, against the cell that has most of each: 0 or below.
    change_db : third octaves over those of the same lanes as recorded, at equal loudness; empty without.
    summing_gain_db : in each range of RANGES_HZ.
    ripple_db : standard deviation of the summing gain by 1/24 octaves, 50 Hz to 16 kHz: how combed it is. 0
        for a lane alone.
    notches : deepest first.
    mono_lu : loudness of both sides as one over that of the two.
    mono_worst_hz, mono_worst_db : the third octave that loses most by it.
    width : share of the sides' difference in the power: 0 all in the middle, 0.5 nothing shared, 1 opposite.
    """

    cell: Cell
    loudness_lufs: float
    match_db: float
    crest_db: float
    tone_db: tuple[float, ...]
    change_db: tuple[float, ...]
    summing_gain_db: tuple[float, float, float]
    ripple_db: float
    notches: tuple[Notch, ...]
    mono_lu: float
    mono_worst_hz: float
    mono_worst_db: float
    width: float


class BoardFacts(Struct, frozen=True):
    """`bands_hz`: nominal mid-band frequencies of the third octaves. `segments` spectra were averaged."""

    bands_hz: tuple[float, ...]
    cells: tuple[CellFacts, ...]
    segments: int

    def of(self, cell: Cell) -> CellFacts | None:
        """The facts of a cell; None where the board lacks it."""
        return next((facts for facts in self.cells if facts.cell == cell), None)

    def as_recorded(self, cell: Cell) -> CellFacts | None:
        """The facts of the same lanes as recorded; None for themselves, or where the board lacks them."""
        wanted = Cell(cell.parts, "original")
        return None if wanted == cell else self.of(wanted)


def measured_board(
    session: Session,
    cells: Sequence[Cell],
    clips: Mapping[str, ClipLike],
    start: int,
    stop: int,
    *,
    progress: Callable[[float], None] = nothing,
    cancelled: Callable[[], bool] = never,
) -> BoardFacts:
    """Measure all cells over a passage of session samples, faded at its ends as it is heard.

    Raises NotInSession, ValueError (no cell, empty passage), MediaError, Cancelled.
    """
    signals = cell_signals(session, cells)
    edge = rise(fade_frames(session.rate_hz))[1:]
    sums = measured_sums(signals, clips, start, stop, edge=edge, progress=progress, cancelled=cancelled)
    return facts_of(signals, sums, cells)


def facts_of(signals: Signals, sums: Sums, cells: Sequence[Cell]) -> BoardFacts:
    """The figures of every cell from what was measured of the signals."""
    rate_hz = signals.session.rate_hz
    top_hz = min(20_000.0, rate_hz / 2 / 10**0.05)
    bands = third_octave_bands(20.0, top_hz)
    keys = [cell.id for cell in cells]
    match = level_match(dict(zip(keys, sums.powers, strict=True)))
    mono_match = level_match(dict(zip(keys, sums.mono_powers, strict=True)))
    matched = exact_match_gains(sums.powers)
    made, levels = list[CellFacts](), np.zeros((len(cells), len(bands)))
    for number, (cell, one) in enumerate(zip(cells, _spectra(signals, sums), strict=True)):
        levels[number] = _db(band_powers(sums.frequency_hz, one.both, bands)) + matched[number]
        fine_hz, gain_db = one.fine_gain(top_hz)
        mono_hz, mono_db = one.worst_in_mono(bands)
        made.append(
            CellFacts(
                cell=cell,
                loudness_lufs=match.lufs[cell.id],
                match_db=matched[number],
                crest_db=one.crest_db(float(sums.peaks[number])),
                tone_db=(),
                change_db=(),
                summing_gain_db=one.range_gains(),
                ripple_db=one.ripple_db(fine_hz, gain_db),
                notches=one.notches(fine_hz, gain_db),
                mono_lu=mono_match.lufs[cell.id] - match.lufs[cell.id]
                if math.isfinite(match.lufs[cell.id])
                else math.nan,
                mono_worst_hz=mono_hz,
                mono_worst_db=mono_db,
                width=one.width(),
            )
        )
    return BoardFacts(tuple(band.nominal_hz for band in bands), _compared(made, levels), sums.segments)


def _compared(made: Sequence[CellFacts], levels: Array) -> tuple[CellFacts, ...]:
    """The cells, their third octaves against the fullest of all and against the same lanes as recorded."""
    fullest = levels.max(axis=0)
    partners = {one.cell.parts: at for at, one in enumerate(made) if one.cell.version_id == "original"}
    done = []
    for number, one in enumerate(made):
        partner = partners.get(one.cell.parts, number)
        change = () if partner == number else tuple((levels[number] - levels[partner]).tolist())
        done.append(replace(one, tone_db=tuple((levels[number] - fullest).tolist()), change_db=change))
    return tuple(done)


def _spectra(signals: Signals, sums: Sums) -> Iterator[CellSpectra]:
    """Of every cell, some at a time: all of them together would fill the memory."""
    first, second = pair_places(signals.weights.shape[2])
    own = sums.cross[first == second]
    for at in range(0, len(signals.weights), _AT_ONCE):
        weights = signals.weights[at : at + _AT_ONCE]
        three = np.concatenate([weights, weights.sum(axis=1, keepdims=True)], axis=1)  # left, right, both
        rows = np.maximum(pair_weights(three.reshape(-1, three.shape[2])) @ sums.cross, 0.0)
        alone = (weights**2).sum(axis=1)
        for number, power in enumerate(rows.reshape(len(weights), 3, -1)):
            is_sum = int(np.count_nonzero(alone[number])) > 1
            yield CellSpectra(sums.frequency_hz, power[:2], power[2] / 2.0, alone[number] @ own, is_sum)


class CellSpectra:
    """The spectra of one cell: its two sides, mono, what its lanes have alone. Densities per Hz."""

    def __init__(self, frequency_hz: Array, sides: Array, mono: Array, alone: Array, is_sum: bool) -> None:
        self.frequency_hz, self.sides, self.mono, self.alone = frequency_hz, sides, mono, alone
        self.both = sides.sum(axis=0)
        self.is_sum = is_sum

    def crest_db(self, peak: float) -> float:
        """`peak` over the mean power of the louder side."""
        power = float((self.sides.sum(axis=1) * self._spacing).max())
        return 20.0 * math.log10(peak) - 10.0 * math.log10(power) if peak > 0 and power > 0 else math.nan

    def range_gains(self) -> tuple[float, float, float]:
        """Summing gain in each of RANGES_HZ, dB."""
        low, middle, high = (
            _ratio_db(float(self.both[inside].sum()), float(self.alone[inside].sum()))
            for inside in ((low <= self.frequency_hz) & (self.frequency_hz < high) for low, high in RANGES_HZ)
        )
        return low, middle, high

    def fine_gain(self, top_hz: float) -> tuple[Array, Array]:
        """Summing gain by 1/24 octaves, dB, where the lanes are to be heard."""
        grid = fine_grid_hz(20.0, top_hz)
        alone = fine_density(self.frequency_hz, self.alone, grid)
        together = fine_density(self.frequency_hz, self.both, grid)
        share = alone * grid  # power an octave
        heard = share > share.max(initial=0.0) * 10.0 ** (-_HEARD_DB / 10.0)
        return grid[heard], _db(together[heard] / alone[heard])

    def ripple_db(self, fine_hz: Array, gain_db: Array) -> float:
        """Standard deviation of `fine_gain` over RIPPLE_HZ."""
        if not self.is_sum:
            return 0.0
        inside = gain_db[(RIPPLE_HZ[0] <= fine_hz) & (fine_hz <= RIPPLE_HZ[1])]
        return float(np.maximum(inside, _DEEPEST_DB).std()) if len(inside) else math.nan

    def deepest_db(self, top_hz: float) -> float:
        """Depth of the deepest notch, 0 for none."""
        _, gain_db = self.fine_gain(top_hz)
        return max((-float(gain_db[at]) for at in dips(gain_db, NOTCH_DB)), default=0.0)

    def notches(self, fine_hz: Array, gain_db: Array) -> tuple[Notch, ...]:
        """The dips of `fine_gain`, deepest first."""
        if not self.is_sum or len(gain_db) < 3:
            return ()
        found = [
            Notch(self._deepest_hz(float(fine_hz[at])), -float(gain_db[at])) for at in dips(gain_db, NOTCH_DB)
        ]
        return tuple(sorted(found, key=lambda notch: -notch.depth_db)[:MOST_TOLD_NOTCHES])

    def worst_in_mono(self, bands: Sequence[Band]) -> tuple[float, float]:
        """The third octave, among those to be heard, that loses most when both sides become one."""
        both = band_powers(self.frequency_hz, self.both, bands)
        mono = band_powers(self.frequency_hz, self.mono, bands)
        heard = both > both.max(initial=0.0) * 10.0 ** (-_HEARD_DB / 10.0)
        if not heard.any():
            return math.nan, math.nan
        change = np.where(heard, _db(mono / np.where(both > 0, both, 1.0)), math.inf)
        at = int(change.argmin())
        return bands[at].nominal_hz, float(change[at])

    def width(self) -> float:
        """Share of the sides' difference in the power, 0 to 1."""
        total = float(self.both.sum())
        return min(max(1.0 - float(self.mono.sum()) / total, 0.0), 1.0) if total > 0 else math.nan

    @property
    def _spacing(self) -> float:
        return float(self.frequency_hz[1] - self.frequency_hz[0])

    def _deepest_hz(self, about_hz: float) -> float:
        """The bin of the least summing gain within 1/24 octave of a notch; power of three bins together."""
        near = np.flatnonzero(np.abs(self.frequency_hz - about_hz) <= about_hz * (2.0 ** (1.0 / 24.0) - 1.0))
        if len(near) < 3:
            return about_hz
        smooth = np.ones(3)
        together, alone = (np.convolve(one[near], smooth, "same") for one in (self.both, self.alone))
        return float(
            self.frequency_hz[near[int(np.argmin(together[1:-1] / np.maximum(alone[1:-1], 1e-300))) + 1]]
        )


def dips(values: Array, depth: float) -> list[int]:
    """Places of local minima at `-depth` or below that rise by `depth` on either side before a lower one."""
    found = []
    for at in range(1, len(values) - 1):
        here = values[at]
        if not (here <= -depth and values[at - 1] > here <= values[at + 1]):
            continue
        sides = values[:at][::-1], values[at + 1 :]
        rises = []
        for side in sides:
            lower = np.flatnonzero(side < here)
            rises.append(side[: lower[0]].max(initial=here) if len(lower) else side.max(initial=here))
        if min(rises) - here >= depth:
            found.append(at)
    return found


def _db(power: Array) -> Array:
    return np.asarray(10.0 * np.log10(np.maximum(power, 10.0 ** (FLOOR_DB / 10.0))))


def _ratio_db(power: float, over: float) -> float:
    return 10.0 * math.log10(max(power / over, 10.0 ** (FLOOR_DB / 10.0))) if over > 0 else math.nan
