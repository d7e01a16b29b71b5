"""Arrivals by source: where several instruments sound, each has lags of its own.

Attacks of all lanes are grouped into strokes. A lane owns an instrument (it is that one's spot microphone)
where it is loud, by its own measure, at that instrument's strokes alone and hears them before the others;
what no spot accounts for is sorted by the order in which the lanes hear it. From a source's own strokes its
lag in every lane is read twice: by first sounds, and by a phase transform that looks only where, in the
owner's lane, the instrument stands over what else sounds then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from lagline.analysis.take.strokes import Samples, Strokes, strokes

BEFORE_S, WINDOW_S = 0.006, 0.050  # of a stroke: what is looked at
FADE_IN_S, FADE_OUT_S = 0.003, 0.015
REACH_S = 0.025  # the farthest lane, 8.5 m
FIRST_S = 0.0012  # a spot hears its instrument no later than this after any other lane
OWN_DB = 18.0  # under a lane's loudest its own strokes still lie
GAP_DB = (4.0, OWN_DB)  # where the gap between own strokes and bleed is sought
LEAST_GAP_DB, DISTINCT_DB = 3.0, 5.0
NO_GAP_DB = 12.0  # under a lane's loudest, where there is no gap
LEFT_OVER = 0.2  # of a lane's loud strokes must be no other instrument's
EARLIER = 1.3  # a peak before the lane's own must be this much higher to take a source away from it
SAME_STROKES = 0.6  # of two spots of one instrument
WHITENED = 0.8  # exponent of the phase transform (1: fully)
SMOOTH_BINS = 9
DEPTH = 1e-6  # power under a spectrum's highest that is noise
NEAR = 20  # frames: how far halves of the evidence are followed

SAME_FRAMES = 5.0  # two strokes from one place: first sounds agree within this
SAME_SHARE = 0.75  # in this share of the lanes that tell both
FEWEST_LANES = 4  # that must tell both
REPEATS = 2.5  # frames: what scatters less over strokes, or halves of the evidence, is believed
FEWEST_STROKES, FEWEST_OF_NONE = 2, 3  # that tell a source, and one that no microphone stands at
WIDEST = 6.0  # frames: how far halves of the evidence may differ
SURE_HEIGHT, LEAST_HEIGHT = 8.0, 5.0  # of a peak over the rms of its curve: believed; told at all


@dataclass(frozen=True)
class SourceLag:
    """One source in one lane: `lag` frames behind the owner's lane (NaN: not told), +- `uncertainty`.

    `polarity` against the owner's lane, 0 where only first sounds tell the lag.
    """

    lag: float
    uncertainty: float
    polarity: int


NOT_TOLD = SourceLag(float("nan"), float("nan"), 0)


@dataclass(frozen=True)
class SoundSource:
    """`owner` : index of the lane that hears it first and names it; `spots` : all lanes close to it.

    `at` : its strokes, frames, shape (strokes,). `lags` : one a lane. `is_spotted` : a microphone stands at
    it; else the owner is no more than the lane that is nearest.
    """

    owner: int
    spots: tuple[int, ...]
    at: NDArray[np.int64]
    lags: tuple[SourceLag, ...]
    is_spotted: bool

    def against(self, anchor: int) -> tuple[SourceLag, ...]:
        """The lags behind another lane; none are told where that lane does not tell this source."""
        base = self.lags[anchor]
        return tuple(
            SourceLag(
                one.lag - base.lag,
                0.0 if k == anchor else float(np.hypot(one.uncertainty, base.uncertainty)),
                one.polarity * base.polarity,
            )
            for k, one in enumerate(self.lags)
        )


def sound_sources(lanes: Sequence[Samples], rate_hz: int) -> list[SoundSource]:
    """Find the sources of a take and each one's lag in every lane.

    Parameters
    ----------
    lanes : each of shape (frames,), float32, on one timeline, roughly lined up (within 25 ms). rate_hz : Hz.

    Returns
    -------
    list of SoundSource
        The most frequently struck first; empty where nothing is struck.
    """
    return sources_of(lanes, strokes(lanes, rate_hz), rate_hz)


def sources_of(lanes: Sequence[Samples], played: Strokes, rate_hz: int) -> list[SoundSource]:
    """The same where the strokes are known already."""
    if not len(played.at):
        return []
    heard = _Heard.of(lanes, played, rate_hz)
    owned = _owned(heard, played)
    groups = _by_order(played, _instruments(heard, played, owned))
    return sorted((_measured(heard, played, g, groups) for g in groups), key=lambda s: -len(s.at))


@dataclass(frozen=True)
class _Group:
    """Strokes of one source and the lanes close to it, the owner first."""

    spots: tuple[int, ...]
    own: NDArray[np.intp]
    is_spotted: bool


@dataclass(frozen=True)
class _Heard:
    """Spectra of every lane at every stroke and just before it: shape (lanes, strokes, bins)."""

    at: NDArray[np.complex64]
    before: NDArray[np.complex64]
    size: int
    reach: int  # frames
    first: int  # frames

    @classmethod
    def of(cls, lanes: Sequence[Samples], played: Strokes, rate_hz: int) -> _Heard:
        frames = round(WINDOW_S * rate_hz)
        size = 1 << (2 * frames - 1).bit_length()
        shape = np.ones(frames, np.float32)
        rise, fall = round(FADE_IN_S * rate_hz), round(FADE_OUT_S * rate_hz)
        shape[:rise] = np.hanning(2 * rise)[:rise]
        shape[-fall:] = np.hanning(2 * fall)[fall:]
        starts = played.at - round(BEFORE_S * rate_hz)
        at, before = [], []
        for x in lanes:
            at.append(scipy.fft.rfft(_cut(x, starts, frames) * shape, size))
            before.append(scipy.fft.rfft(_cut(x, starts - frames, frames) * shape, size))
        return cls(np.stack(at), np.stack(before), size, round(REACH_S * rate_hz), round(FIRST_S * rate_hz))

    def power(self, lane: int, which: NDArray[np.intp]) -> NDArray[np.float64]:
        """Mean power spectrum of a lane over some strokes."""
        return np.asarray((np.abs(self.at[lane, which]) ** 2).mean(axis=0), float)


def _cut(x: Samples, starts: NDArray[np.int64], frames: int) -> Samples:
    padded = np.concatenate([np.zeros(frames, np.float32), x, np.zeros(2 * frames, np.float32)])
    index = np.clip(starts + frames, 0, len(x) + frames)[:, None] + np.arange(frames)
    return np.asarray(padded[index])


# ---- whose stroke -------------------------------------------------------------------------------


def _own_strokes(level_db: NDArray[np.float64]) -> NDArray[np.intp]:
    """Strokes over the widest gap in a lane's levels: its own, if it is a spot."""
    order = np.argsort(-level_db)
    level = level_db[order]
    reachable = (level[:-1] >= -GAP_DB[1]) & (level[1:] <= -GAP_DB[0])
    gaps = np.where(reachable, level[:-1] - level[1:], 0.0)
    if not len(gaps) or gaps.max() < LEAST_GAP_DB:
        return np.flatnonzero(level_db >= -NO_GAP_DB)
    return np.sort(order[: int(np.argmax(gaps)) + 1])


def _standing_out(played: Strokes, which: NDArray[np.intp], lane: int) -> NDArray[np.intp]:
    """The half of a lane's strokes (four at least) in which it stands out most over the others."""
    level = played.level_db[which]
    over = level[:, lane] - np.median(np.delete(level, lane, axis=1), axis=1)
    keep = max(min(len(which), 4), len(which) // 2)
    return which[np.argsort(-over)[:keep]]


def _owned(heard: _Heard, played: Strokes) -> dict[int, NDArray[np.intp]]:
    """Lanes that own an instrument, and its strokes.

    The lane with the fewest strokes first: those that an owner so far accounts for are no longer another's,
    unless both hear them at once (two microphones at one instrument).
    """
    loud = {k: _own_strokes(played.level_db[:, k]) for k in range(heard.at.shape[0])}
    loud = {k: which for k, which in loud.items() if len(which) and _hears_first(heard, played, which, k)}
    owned: dict[int, NDArray[np.intp]] = {}
    for lane in sorted(loud, key=lambda k: len(loud[k])):
        left = loud[lane]
        for other, theirs in owned.items():
            common = np.intersect1d(left, theirs)
            if len(common) and not _at_once(heard, played, theirs, other, lane):
                left = np.setdiff1d(left, common)
        enough = len(left) >= LEFT_OVER * len(loud[lane])
        if len(left) == len(loud[lane]) or (enough and _hears_first(heard, played, left, lane)):
            owned[lane] = left
    return owned


def _hears_first(heard: _Heard, played: Strokes, own: NDArray[np.intp], lane: int) -> bool:
    """Does no other lane to which these strokes are loud hear them clearly earlier?"""
    which = _standing_out(played, own, lane)
    weight = _over_the_rest(heard, played, own, which, lane)
    loud = np.median(played.level_db[which], axis=0) >= -OWN_DB
    for other in np.flatnonzero(loud):
        if other == lane:
            continue
        curve = np.abs(_curve(heard, lane, int(other), which, weight))
        earlier, later = curve[: heard.reach - heard.first], curve[heard.reach - heard.first :]
        gap, scatter = _first_gap(played, int(other), lane, own)
        if earlier.max() > EARLIER * later.max() or (gap > heard.first and scatter <= SAME_FRAMES):
            return False
    return True


def _first_gap(played: Strokes, one: int, other: int, which: NDArray[np.intp]) -> tuple[float, float]:
    """How much later `other` hears strokes first than `one`, frames: median, and median deviation from it.

    The deviation is infinite where fewer than `FEWEST_STROKES` strokes tell.
    """
    gaps = played.first[which, other] - played.first[which, one]
    gaps = gaps[np.isfinite(gaps)]
    if len(gaps) < FEWEST_STROKES:
        return 0.0, np.inf
    middle = float(np.median(gaps))
    return middle, float(np.median(np.abs(gaps - middle)))


def _over_the_rest(
    heard: _Heard, played: Strokes, own: NDArray[np.intp], which: NDArray[np.intp], lane: int
) -> NDArray[np.float64]:
    """Weight of the bins in which a lane's own strokes stand over all the others."""
    rest = np.setdiff1d(np.arange(len(played.at)), own)
    mine = heard.power(lane, which)
    return _weight(mine, heard.power(lane, rest) if len(rest) else np.zeros_like(mine))


def _at_once(heard: _Heard, played: Strokes, own: NDArray[np.intp], owner: int, lane: int) -> bool:
    """Does `lane` hear the owner's strokes as early as the owner?"""
    which = _standing_out(played, own, owner)
    curve = np.abs(_curve(heard, owner, lane, which, _over_the_rest(heard, played, own, which, owner)))
    return abs(int(np.argmax(curve)) - heard.reach) <= heard.first


def _instruments(heard: _Heard, played: Strokes, own: dict[int, NDArray[np.intp]]) -> list[_Group]:
    """Spots of the same instrument together."""
    groups: list[list[int]] = []
    for lane in own:
        for group in groups:
            a, b = set(own[lane].tolist()), set(own[group[0]].tolist())
            same = len(a & b) >= SAME_STROKES * len(a | b)
            if same and _at_once(heard, played, own[group[0]], group[0], lane):
                group.append(lane)
                break
        else:
            groups.append([lane])
    return [_Group(tuple(group), own[group[0]], True) for group in groups]


# ---- by the order in which lanes hear it ----------------------------------------------------------


def _by_order(played: Strokes, groups: Sequence[_Group]) -> list[_Group]:
    """Groups split where their first sounds tell of several places; strokes of no group sorted likewise."""
    out = []
    for group in groups:
        places = _places(played, group.own)
        if len(places) < 2 or _distinct(played, group):
            out.append(group)
        else:
            nearest = [(_earliest(played, which), which) for which in places]
            out += [_Group((k,), which, k in group.spots) for k, which in nearest]
    taken = np.concatenate([g.own for g in out]) if out else np.zeros(0, np.intp)
    left = np.setdiff1d(np.arange(len(played.at)), taken)
    return out + [
        _Group((_earliest(played, which),), which, False) for which in _places(played, left, FEWEST_OF_NONE)
    ]


def _distinct(played: Strokes, group: _Group) -> bool:
    """Does the owner's lane tell its own strokes, a half of all at most, from the rest by level alone?"""
    level = played.level_db[:, group.spots[0]]
    rest = np.delete(level, group.own)
    return len(rest) >= len(group.own) and float(level[group.own].min() - rest.max()) >= DISTINCT_DB


def _places(played: Strokes, which: NDArray[np.intp], fewest: int = FEWEST_STROKES) -> list[NDArray[np.intp]]:
    """Strokes whose first sounds agree in most lanes, in groups of `fewest` and more, the largest first."""
    first = played.first[which]
    alike = np.array([[_alike(a, b) for b in first] for a in first], bool).reshape(len(which), len(which))
    left = np.ones(len(which), bool)
    out: list[NDArray[np.intp]] = []
    while True:
        mates = (alike & left).sum(axis=1) * left
        if not len(mates) or mates.max() < fewest:
            return out
        these = alike[int(np.argmax(mates))] & left
        out.append(which[these])
        left &= ~these


def _alike(one: NDArray[np.float64], other: NDArray[np.float64]) -> bool:
    gap = (one - other)[np.isfinite(one - other)]
    return len(gap) >= FEWEST_LANES and bool(
        np.mean(np.abs(gap - np.median(gap)) <= SAME_FRAMES) >= SAME_SHARE
    )


def _earliest(played: Strokes, which: NDArray[np.intp]) -> int:
    """The lane that most often hears these strokes first."""
    first = np.where(np.isfinite(played.first[which]), played.first[which], np.inf)
    return int(np.bincount(np.argmin(first, axis=1), minlength=first.shape[1]).argmax())


# ---- its lags -----------------------------------------------------------------------------------


def _measured(heard: _Heard, played: Strokes, group: _Group, groups: Sequence[_Group]) -> SoundSource:
    owner = group.spots[0]
    which = _standing_out(played, group.own, owner)
    weight = _weight(heard.power(owner, which), _beside(heard, played, group, groups, which))
    lags = tuple(
        SourceLag(0.0, 0.0, 1) if k == owner else _lag(heard, played, owner, k, which, weight)
        for k in range(heard.at.shape[0])
    )
    return SoundSource(owner, group.spots, played.at[group.own], lags, group.is_spotted)


def _beside(
    heard: _Heard, played: Strokes, group: _Group, groups: Sequence[_Group], which: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Power beside the instrument in its owner's lane at its strokes: what rang on, and who else struck.

    Another instrument counts, at its own strength, with the power it has in this lane when it plays alone.
    """
    lane = group.spots[0]
    total = np.asarray((np.abs(heard.before[lane, which]) ** 2).mean(axis=0), float)
    for other in groups:
        alone = np.setdiff1d(other.own, group.own)
        if other is not group and len(alone):
            strength = 10 ** (played.level_db[:, other.spots[0]] / 10)
            total += heard.power(lane, alone) / strength[alone].mean() * strength[which].mean()
    return total


def _lag(
    heard: _Heard,
    played: Strokes,
    owner: int,
    lane: int,
    which: NDArray[np.intp],
    weight: NDArray[np.float64],
) -> SourceLag:
    """First sounds where they repeat, made finer by a phase transform that agrees; else that alone."""
    middle, scatter = _first_gap(played, owner, lane, which)
    found, height, sign = _peak(_curve(heard, owner, lane, which, weight), heard)
    spread = _spread(heard, owner, lane, which, weight, found)
    agree = abs(found - middle) <= SAME_FRAMES and height >= LEAST_HEIGHT
    if height >= SURE_HEIGHT or (agree and scatter <= REPEATS):
        return SourceLag(found, max(0.5, spread), sign)
    if scatter <= REPEATS:
        return SourceLag(middle, max(2.0, 2 * scatter), 0)
    told = height >= LEAST_HEIGHT and spread <= WIDEST
    return SourceLag(found, max(2.0, spread), sign) if told else NOT_TOLD


def _spread(
    heard: _Heard, owner: int, lane: int, which: NDArray[np.intp], weight: NDArray[np.float64], lag: float
) -> float:
    """How far the peak lies from itself in halves of the band and of the strokes: rms, frames."""
    low = np.arange(len(weight)) < np.searchsorted(np.cumsum(weight), 0.5 * weight.sum())
    parts = [(which, weight * low), (which, weight * ~low)]
    if len(which) > 1:
        parts += [(which[::2], weight), (which[1::2], weight)]
    begin = max(round(lag) + heard.reach - NEAR, 0)
    near = [np.argmax(np.abs(_curve(heard, owner, lane, *p))[begin : begin + 2 * NEAR + 1]) for p in parts]
    return float(np.sqrt(np.mean((np.array(near) + begin - heard.reach - lag) ** 2)))


def _weight(power: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
    """0..1 a bin: how far the instrument stands over what else sounds in its owner's lane."""
    mine, rest = (np.convolve(x, np.ones(SMOOTH_BINS) / SMOOTH_BINS, "same") for x in (power, other))
    return np.asarray(np.clip(1 - 2 * rest / (mine + 1e-30), 0, 1) * (mine > DEPTH * mine.max()))


def _curve(
    heard: _Heard, one: int, other: int, which: NDArray[np.intp], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Mean phase transform over strokes; index `reach` is lag 0, positive where `other` is later."""
    cross = np.conj(heard.at[one, which]) * heard.at[other, which]
    size = np.abs(cross) ** WHITENED
    cross = cross / (size + 1e-4 * size.max(axis=1, keepdims=True) + 1e-30)
    cross = cross / np.sqrt((np.abs(cross) ** 2).mean(axis=1, keepdims=True) + 1e-30)
    curve = scipy.fft.irfft((cross * weight).sum(axis=0), heard.size)
    return np.concatenate([curve[-heard.reach :], curve[: heard.reach + 1]])


def _peak(curve: NDArray[np.float64], heard: _Heard) -> tuple[float, float, int]:
    """Highest magnitude at lags a spot allows, between frames; its height over the curve's rms; its sign."""
    size = np.abs(curve)
    begin = heard.reach - heard.first
    k = int(np.argmax(size[begin:])) + begin
    height = float(size[k] / (np.sqrt(np.mean(size**2)) + 1e-30))
    lag = float(k - heard.reach)
    if 0 < k < len(size) - 1:
        left, mid, right = size[k - 1 : k + 2]
        bend = left - 2 * mid + right
        lag += float(0.5 * (left - right) / bend) if bend < 0 else 0.0
    return lag, height, 1 if curve[k] > 0 else -1
