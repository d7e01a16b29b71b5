"""Further witnesses of where a lane lies: textbook methods that work on one event as well as on many.

Each proposes places of its own and is asked about everyone else's; which to believe is for the judge.

- whole, windowed : the phase transform over one stretch, and its mean over windows (C. Knapp and G. Carter,
  "The generalized correlation method for estimation of time delay", IEEE Trans. ASSP 24(4), 1976, 320-327).
- first sounds : how much later the lane begins to move, the middle over strokes.
- apart : the phase transform where the lane, by its own measure, stands out over every other lane, bin by bin
  and window by window, as one player does at his own microphone (the idea of a binary mask: O. Yilmaz and
  S. Rickard, "Blind separation of speech mixtures via time-frequency masking", IEEE Trans. Signal Processing
  52(7), 2004, 1830-1847; from memory).
- own strokes : the lag of an instrument that stands at one of the microphones.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.fft
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.measure import Cuts, Lanes
from lagline.analysis.onsets import pick
from lagline.analysis.scan import WORKERS, Floats, Samples
from lagline.analysis.take.sources import NOT_TOLD, SoundSource, sources_of
from lagline.analysis.take.strokes import Strokes, strokes
from lagline.spread import spread

_STRETCH_S = 10.0  # of the take, the liveliest: more says little more and takes longer
FAR_S = 0.1  # lanes that start farther apart are first brought together
_FADE_S = 0.01  # at either end of the stretch
_REACH_S = 0.25  # farther no microphone of one take stands: 86 m
MOST_WINDOWS = 48
MOST_STROKES = 40
_LEAD_S = 0.045  # of a stroke, looked at before it
STROKE_S = 0.12
EPS = 1e-7
STANDS_OUT = 2.0  # power over that of the lane nearest to it
FAINTEST = 1e-6  # power under a lane's highest that is not looked at
_FINER = 16
SIDE = 24  # samples on either side that interpolation reads


class Curve(Struct, frozen=True):
    """A correlation against lag: `values[i]` at `back + i - reach` samples, over its own rms.

    peaks : lag, sign, height, highest first. back : samples, what cutting took out.
    """

    values: Samples
    reach: int
    peaks: tuple[tuple[float, int, float], ...]
    back: float

    def near(self, lag: float) -> float:
        """The value of greatest magnitude within a sample of a lag; 0 outside."""
        begin = round(lag - self.back) + self.reach - 1 if np.isfinite(lag) else -1
        part = self.values[max(begin, 0) : max(begin + 3, 0)]
        return float(part[int(np.argmax(np.abs(part)))]) if len(part) else 0.0

    def before(self, lag: float, far: int, gap: int = 4) -> float:
        """The greatest magnitude in the `far` samples before a lag, without the last few."""
        at = round(lag - self.back) + self.reach
        return float(np.abs(self.values[max(at - far, 0) : max(at - gap, 0)]).max(initial=0.0))

    def sign(self, lag: float, span: int) -> tuple[int, float]:
        """Sign at a lag, and by what share it stands over the opposite sign within `span` samples."""
        here = self.near(lag)
        at = round(lag - self.back) + self.reach
        against = -np.sign(here) * self.values[max(at - span, 0) : max(at + span + 1, 0)]
        lead = 1 - float(against.max(initial=0.0)) / max(abs(here), 1e-9)
        return (1 if here >= 0 else -1), max(lead, 0.0)

    def finer(self, lag: float) -> float:
        """The place of greatest magnitude within a sample of a lag, on a finer grid (windowed sinc)."""
        middle = round(lag - self.back) + self.reach
        if middle < SIDE or middle + SIDE >= len(self.values):
            return lag
        at = np.arange(-_FINER, _FINER + 1) / _FINER
        away = at[:, None] - np.arange(-SIDE, SIDE + 1)[None, :]
        kernel = np.sinc(away) * np.cos(np.pi * away / (2 * SIDE + 4)) ** 2
        curve = kernel @ self.values[middle - SIDE : middle + SIDE + 1]
        return float(middle - self.reach + self.back + at[int(np.argmax(np.abs(curve)))])


class FirstSounds(Struct, frozen=True):
    """lag : middle over strokes, NaN where none tells; scatter : median deviation over strokes (readings, of
    a single one); strokes : how many tell. alone : by the loudest attack of each lane only."""

    lag: float
    scatter: float
    strokes: int
    alone: float
    alone_scatter: float


class SourceSaid(Struct, frozen=True):
    """An instrument's lag in the lane against the anchor, and whose instrument it is."""

    lag: float
    uncertainty: float
    polarity: int
    strokes: int
    of_lane: bool
    of_anchor: bool


class Account(Struct, frozen=True):
    """What the witnesses say of a lane against the anchor; lags in samples of the session's timeline.

    owned, anchor_owned : share of what is heard in which the lane, and the anchor, stand out over the others.
    """

    whole: Curve
    windowed: Curve
    apart: Curve
    first: FirstSounds
    sources: tuple[SourceSaid, ...]
    owned: float
    anchor_owned: float


class Stretch(Struct, frozen=True):
    """One stretch of the take as the witnesses hear it, cut once for all lanes.

    base : samples that were taken out of each lane. spectra : of the whole stretch, None for a silent lane.
    onsets : first sounds at strokes, by every reading, shape (strokes, readings) a lane; loudest : the same
    at each lane's own loudest moment. sources : instruments that are told apart. louder : the lane that
    stands out over all others, shape (windows, bins), -1 where none does.
    """

    base: tuple[int, ...]
    size: int
    reach: int
    spectra: list[NDArray[np.complex64] | None]
    onsets: list[Floats]
    loudest: list[Floats]
    sources: list[SoundSource]
    louder: NDArray[np.int16]


def listen(lanes: Lanes, cuts: Cuts, passage: tuple[int, int]) -> Stretch:
    """Cut the stretch and hear it once. `passage` : session samples that may be looked at."""
    rate = lanes.rate_hz
    count = len(lanes.clips)
    start, stop = _liveliest(cuts, passage, round(_STRETCH_S * rate))
    base = tuple(0 if abs(s) < FAR_S * rate else round(s) for s in cuts.courses.start)

    def read(k: int) -> Samples:
        at = start + base[k] - lanes.places[k]
        return np.ascontiguousarray(lanes.clips[k].read(at, at + stop - start), np.float32)

    audio = [np.zeros(0, np.float32) if lanes.silent[k] else read(k) for k in range(count)]
    size = int(scipy.fft.next_fast_len(2 * (stop - start), real=True))  # type: ignore[no-untyped-call]

    # Without it a steady tone would leak from its line into the whole spectrum, and agree there.
    rise = np.sin(np.pi / 2 * np.minimum((np.arange(stop - start) + 0.5) / (_FADE_S * rate), 1)) ** 2
    fade = (rise * rise[::-1]).astype(np.float32)

    def transform(x: Samples) -> NDArray[np.complex64] | None:
        return np.asarray(scipy.fft.rfft(x * fade, size), np.complex64) if len(x) else None

    spectra = spread(transform, audio, threads=WORKERS)
    heard = [k for k in range(count) if len(audio[k])]
    played = strokes([audio[k] for k in heard], rate)
    at = played.at[_strongest(played, MOST_STROKES)]
    apart = any(base[k] for k in heard)
    found = [] if apart or len(heard) < 3 else sources_of([audio[k] for k in heard], played, rate)
    return Stretch(
        base=base,
        size=size,
        reach=min(round(_REACH_S * rate), size // 2 - 1),
        spectra=spectra,
        onsets=[_onsets(x, at if len(x) else at[:0], rate) for x in audio],
        loudest=[_loudest(x, rate) for x in audio],
        sources=[_over_all(s, heard, count) for s in found],
        louder=_louder(cuts, heard),
    )


def ask(cuts: Cuts, stretch: Stretch, anchor: int, lane: int) -> Account:
    """What every witness says of one lane against the anchor; both sound."""
    base = float(stretch.base[lane] - stretch.base[anchor])
    a, b = stretch.spectra[anchor], stretch.spectra[lane]
    assert a is not None and b is not None
    cross = np.conj(a) * b
    size = np.abs(cross)
    back = cuts.courses.start[lane] - cuts.courses.start[anchor]
    told = max(int(np.count_nonzero(stretch.louder >= 0)), 1)
    return Account(
        whole=_curve(cross / (size + EPS * size.max() + 1e-30), stretch.size, stretch.reach, base),
        windowed=_windowed(cuts, anchor, lane, back),
        apart=_apart(cuts, anchor, lane, stretch.louder, back),
        first=_first(stretch, anchor, lane, base),
        sources=_said(stretch, anchor, lane),
        owned=int(np.count_nonzero(stretch.louder == lane)) / told,
        anchor_owned=int(np.count_nonzero(stretch.louder == anchor)) / told,
    )


def _liveliest(cuts: Cuts, passage: tuple[int, int], length: int) -> tuple[int, int]:
    """The stretch of the passage that holds most of what all lanes sound in their windows."""
    start, stop = passage
    at = cuts.windows.start
    if stop - start <= length or not len(at):
        return start, min(stop, start + length)
    loud = np.zeros(len(at))
    for lane in cuts.spectra:
        loud += np.sqrt(lane.energy / max(float(lane.energy.max()), 1e-30))
    total = np.concatenate([[0.0], np.cumsum(loud)])
    inside = total[np.searchsorted(at, at + length)] - total[:-1]
    begin = int(at[int(np.argmax(inside))]) - round(0.05 * length)
    begin = min(max(begin, start), stop - length)
    return begin, begin + length


def _strongest(played: Strokes, most: int) -> NDArray[np.intp]:
    order = np.argsort(-played.level_db.max(axis=1, initial=-400.0), kind="stable")[:most]
    return np.sort(order)


def _onsets(x: Samples, at: NDArray[np.int64], rate_hz: int) -> Floats:
    """First sounds near some strokes, every reading: shape (strokes, readings); NaN where there is none."""
    lead = round(_LEAD_S * rate_hz)
    frames = round(STROKE_S * rate_hz)
    padded = np.concatenate([np.zeros(lead, np.float32), x, np.zeros(frames, np.float32)])
    pieces = padded[at[:, None] + np.arange(frames)] if len(at) else np.zeros((0, frames), np.float32)
    picks = pick(pieces, lead, rate_hz)
    out = picks.position + (at - lead)[:, None]
    out[picks.is_cut] = np.nan
    return np.asarray(out)


def _loudest(x: Samples, rate_hz: int) -> Floats:
    """Every reading of the first sound of the lane's loudest moment, samples."""
    hop = max(round(0.001 * rate_hz), 1)
    count = len(x) // hop
    if not count:
        return np.full(1, np.nan)
    power = np.add.reduceat(x[: count * hop] ** 2, np.arange(0, count * hop, hop))
    top = int(np.argmax(power))
    begin = top
    while begin > 0 and top - begin < 40 and power[begin] > 1e-3 * power[top]:
        begin -= 1
    return np.asarray(_onsets(x, np.array([begin * hop]), rate_hz)[0])


def _over_all(source: SoundSource, heard: Sequence[int], count: int) -> SoundSource:
    """A source of the sounding lanes, told of all lanes."""
    lags = [NOT_TOLD] * count
    for k, lag in zip(heard, source.lags, strict=True):
        lags[k] = lag
    spots = tuple(heard[k] for k in source.spots)
    return SoundSource(heard[source.owner], spots, source.at, tuple(lags), source.is_spotted)


def _curve(cross: NDArray[np.complexfloating], size: int, reach: int, base: float) -> Curve:
    full = scipy.fft.irfft(cross.astype(np.complex64), size)
    both = np.concatenate([full[-reach:], full[: reach + 1]])
    rms = float(np.sqrt(np.mean(full**2))) + 1e-30
    values = (both / rms).astype(np.float32)
    peaks = tuple((lag + base, sign, height) for lag, sign, height in _peaks(values, reach))
    return Curve(values, reach, peaks, base)


def _peaks(values: Samples, reach: int, most: int = 4) -> list[tuple[float, int, float]]:
    size = np.abs(values)
    inner = size[1:-1]
    at = 1 + np.flatnonzero((inner >= size[:-2]) & (inner > size[2:]))
    out: list[tuple[float, int, float]] = []
    for k in at[np.argsort(-size[at], kind="stable")]:
        if len(out) == most:
            break
        left, mid, right = (float(v) for v in size[k - 1 : k + 2])
        bend = left - 2 * mid + right
        lag = float(k - reach) + (0.5 * (left - right) / bend if bend < 0 else 0.0)
        if all(abs(lag - other) > 2 for other, _, _ in out):
            out.append((lag, 1 if values[k] >= 0 else -1, mid))
    return out


def _windowed(cuts: Cuts, anchor: int, lane: int, back: float) -> Curve:
    first, second = cuts.spectra[anchor], cuts.spectra[lane]
    loud = np.sqrt(first.energy * second.energy)
    rows = np.argsort(-loud, kind="stable")[:MOST_WINDOWS]
    rows = np.sort(rows[loud[rows] > 0])
    total = np.zeros(cuts.size // 2 + 1, np.complex128)
    for row in rows:
        cross = np.conj(first.values[row]) * second.values[row]
        size = np.abs(cross)
        total += cross / (size + 1e-4 * size.max() + 1e-30)
    return _curve(total, cuts.size, cuts.size // 4, back)


def _louder(cuts: Cuts, heard: Sequence[int]) -> NDArray[np.int16]:
    """Which lane stands out where: powers are told against what each lane has in its loudest windows."""
    shape = (len(cuts.windows.start), cuts.size // 2 + 1)
    best, next_best = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    owner = np.full(shape, -1, np.int16)
    for k in heard if len(heard) > 2 else ():
        loud = np.sort(cuts.spectra[k].energy)[-max(shape[0] // 5, 1) :].mean()
        power = (np.abs(cuts.spectra[k].values) ** 2 / max(float(loud), 1e-30)).astype(np.float32)
        power[power < FAINTEST * power.max()] = 0
        ahead = power > best
        next_best = np.where(ahead, best, np.maximum(next_best, power))
        best = np.where(ahead, power, best)
        owner[ahead] = k
    owner[best <= STANDS_OUT * next_best] = -1
    return owner


def _apart(cuts: Cuts, anchor: int, lane: int, louder: NDArray[np.int16], back: float) -> Curve:
    total = np.zeros(cuts.size // 2 + 1, np.complex128)
    for row, mine in enumerate(louder == lane):
        cross = np.conj(cuts.spectra[anchor].values[row, mine]) * cuts.spectra[lane].values[row, mine]
        size = np.abs(cross)
        total[mine] += cross / (size + 1e-4 * size.max(initial=0.0) + 1e-30)
    return _curve(total, cuts.size, cuts.size // 4, back)


def _first(stretch: Stretch, anchor: int, lane: int, base: float) -> FirstSounds:
    gaps = stretch.onsets[lane] - stretch.onsets[anchor]
    told = np.isfinite(gaps).sum(axis=1) >= 3
    each = np.array([float(np.nanmedian(row)) for row in gaps[told]])
    lag = scatter = np.nan
    if len(each):
        lag = float(np.median(each))
        spread = np.abs(each - lag) if len(each) > 1 else np.abs(gaps[told][0] - lag)
        scatter = float(np.nanmedian(spread))
    alone = stretch.loudest[lane] - stretch.loudest[anchor]
    told_alone = np.isfinite(alone).sum() >= 3
    middle = float(np.nanmedian(alone)) if told_alone else np.nan
    return FirstSounds(
        lag=lag + base,
        scatter=scatter,
        strokes=len(each),
        alone=middle + base,
        alone_scatter=float(np.nanmedian(np.abs(alone - middle))) if told_alone else np.nan,
    )


def _said(stretch: Stretch, anchor: int, lane: int) -> tuple[SourceSaid, ...]:
    out = []
    for source in stretch.sources:
        said = source.against(anchor)[lane]
        if np.isfinite(said.lag):
            out.append(
                SourceSaid(
                    lag=float(said.lag),
                    uncertainty=float(said.uncertainty),
                    polarity=int(said.polarity),
                    strokes=len(source.at),
                    of_lane=lane in source.spots,
                    of_anchor=anchor in source.spots,
                )
            )
    return tuple(out)
