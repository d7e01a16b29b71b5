"""Cutting all lanes at once and measuring the pairs worth measuring."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from lagline.analysis.chance import UNKNOWN, kin
from lagline.analysis.match import Match, is_tall, match
from lagline.analysis.onsets import Picks, pick
from lagline.analysis.own import levels_of, own_weights
from lagline.analysis.pairs import LEAST_KINSHIP, PairAnswer, answer
from lagline.analysis.rhythm import timing_evidence
from lagline.analysis.scan import WORKERS, Floats, Readable
from lagline.analysis.spectra import LaneSpectra, cut, lane_spectra, transform_size
from lagline.analysis.votes import NO_VOTES, Votes, compare
from lagline.analysis.walking import walks
from lagline.analysis.windows import Windows
from lagline.errors import Cancelled
from lagline.spread import spread

WALKING_KINSHIP = 0.95


class Lanes(Struct, frozen=True):
    """The lanes as analysis sees them: audio, session sample of the first frame, silent or not."""

    clips: tuple[Readable, ...]
    places: tuple[int, ...]
    silent: tuple[bool, ...]
    rate_hz: int


class Courses(Struct, frozen=True):
    """Where each lane is cut: `start + slope * (t - origin)` samples later than the common frame at time t.

    start, slope : one a lane. slope_sigma : how sure the slope is, samples a sample. origin : session sample.
    """

    start: tuple[float, ...]
    slope: tuple[float, ...]
    slope_sigma: tuple[float, ...]
    origin: int

    def at(self, times: NDArray[np.int64]) -> Floats:
        """Offsets of all lanes at session samples, shape (lanes, times)."""
        slope = np.array(self.slope)[:, None]
        return np.asarray(np.array(self.start)[:, None] + slope * (times[None, :] - self.origin))


class Cuts(Struct, frozen=True):
    """All lanes in the same windows. offsets : what was taken out, shape (lanes, windows)."""

    windows: Windows
    attacks: Windows
    offsets: Floats
    spectra: list[LaneSpectra]
    picks: list[Picks]
    courses: Courses
    size: int
    reach: int


def cut_all(
    lanes: Lanes,
    windows: Windows,
    courses: Courses,
    reach: int,
    *,
    progress: Callable[[float], None] = lambda _: None,
    cancelled: Callable[[], bool],
) -> Cuts:
    """Cut, transform and read the first sounds of every lane."""
    offsets = courses.at(windows.time)
    size = transform_size(windows.length, reach)
    at = windows.is_attack
    attacks = replace(
        windows, start=windows.start[at], turn=windows.turn[at], kind=windows.kind[at], is_attack=at[at]
    )

    def read(index: int) -> tuple[Picks, LaneSpectra]:
        whole = np.floor(offsets[index] + 0.5)
        left = offsets[index] - whole
        pieces = cut(lanes.clips[index], lanes.places[index], whole, windows, cancelled)
        picks = pick(pieces[at], attacks.lead, lanes.rate_hz)
        # Positions count from where the exact offset would have cut.
        picks = replace(picks, position=picks.position - left[at][:, None])
        if cancelled():
            raise Cancelled
        spectra = lane_spectra(pieces, left, windows, size, lanes.rate_hz)
        return picks, spectra

    every = range(len(lanes.clips))
    read_lanes = spread(read, every, threads=WORKERS, progress=progress, cancelled=cancelled)
    return Cuts(
        windows=windows,
        attacks=attacks,
        offsets=offsets,
        spectra=[spectra for _, spectra in read_lanes],
        picks=[picks for picks, _ in read_lanes],
        courses=courses,
        size=size,
        reach=reach,
    )


def first_sound_locks(cuts: Cuts, lane: int) -> Floats:
    """Samples by which a lane's first sound lies after the usual place, one a window; NaN where none is."""
    windows, attacks = cuts.windows, cuts.attacks
    if not attacks.count:
        return np.zeros(windows.count)
    low = cuts.picks[lane].position[:, :3]
    each = np.full(len(low), np.nan)
    there = np.isfinite(low).any(axis=1)
    each[there] = np.nanmedian(low[there], axis=1) - attacks.lead
    of_turn = {int(turn): float(value) for turn, value in zip(attacks.turn, each, strict=True)}
    return np.array([of_turn.get(int(turn), np.nan) for turn in windows.turn])


def attack_times(cuts: Cuts, courses: Courses) -> NDArray[np.int64]:
    """When each attack begins in the common frame: the middle of what the lanes' first sounds say.

    Parameters
    ----------
    courses : where the lanes are by now known to lie.
    """
    offsets = courses.at(cuts.attacks.start + cuts.attacks.lead)
    taken = cuts.offsets[:, cuts.windows.is_attack]
    said = np.full((len(cuts.picks), cuts.attacks.count), np.nan)
    for lane, picks in enumerate(cuts.picks):
        there = np.isfinite(picks.position[:, 0]) & ~picks.is_cut
        said[lane, there] = picks.position[there, 0] + taken[lane, there] - offsets[lane, there]
    times = cuts.attacks.start + cuts.attacks.lead
    for attack in range(cuts.attacks.count):
        column = said[:, attack][np.isfinite(said[:, attack])]
        if len(column):
            times[attack] = cuts.attacks.start[attack] + round(float(np.median(column)))
    return np.maximum.accumulate(times)


def timing(cuts: Cuts, votes: Votes, lane: int, lanes: Lanes) -> float:
    """Evidence of the attacks that agree on the best supported place."""
    if not votes.places:
        return 0.0
    agree = np.isfinite(votes.each) & (np.abs(votes.each - votes.places[0].arrival) < 0.0004 * lanes.rate_hz)
    if agree.sum() < 3:
        return 0.0
    rows = cuts.picks[lane].position[agree]
    locks = np.array([float(np.median(row[np.isfinite(row)])) for row in rows])
    return timing_evidence(cuts.attacks.start[agree] + locks, votes.each[agree], lanes.rate_hz)


def all_pairs(lanes: Lanes) -> list[tuple[int, int]]:
    """Every two lanes that aren't silent, by index, the lower first."""
    heard = [i for i, silent in enumerate(lanes.silent) if not silent]
    return list(itertools.combinations(heard, 2))


def measure_pairs(
    lanes: Lanes,
    cuts: Cuts,
    wanted: Sequence[tuple[int, int]],
    far: Sequence[int],
    looks: Sequence[Match | None] | None = None,
    *,
    is_alone: bool,
    progress: Callable[[float], None],
    cancelled: Callable[[], bool],
) -> list[PairAnswer]:
    """Answers of the wanted pairs; arrivals are on the session's timeline, offsets put back.

    `far` : coarse offset of every lane, samples, where one had to be looked for over the whole take.
    `is_alone` : at most two lanes of the take sound.
    `looks` : the first look at the same pairs, from which chance and reverberation are better known.
    """
    levels_db = levels_of(np.array([lane.energy for lane in cuts.spectra]))

    def one(numbered: tuple[int, tuple[int, int]]) -> PairAnswer:
        number, (first, second) = numbered
        back = cuts.courses.start[second] - cuts.courses.start[first]
        own = own_weights(levels_db, first, second) if len(levels_db) > 2 else None
        matched = match(
            cuts.spectra[first],
            cuts.spectra[second],
            cuts.windows,
            cuts.size,
            lanes.rate_hz,
            cuts.reach,
            known=None if looks is None else looks[number],
            own_weights=own,
        )
        before = None if looks is None else looks[number]
        if matched is not None and before is not None:
            # Windows cut exactly at attacks look alike even when borrowed; the first look did not.
            matched = replace(matched, chance=min(matched.chance, before.chance), tail=before.tail)
            if before.direct is not None and matched.own is None:
                seen_at = before.direct.arrival + far[second] - far[first] - back
                same = min(matched.coherent, key=lambda p: abs(p.arrival - seen_at), default=None)
                if same is not None and abs(same.arrival - seen_at) < 2.0 and same is not matched.coherent[0]:
                    matched = replace(matched, direct=same)
            elif matched.direct is not None:
                matched = replace(matched, direct=None)
        votes = NO_VOTES
        if cuts.attacks.count:
            votes = compare(
                cuts.picks[first],
                cuts.picks[second],
                np.zeros(cuts.attacks.count),
                lanes.rate_hz,
                cuts.reach,
                own=None if own is None else own[cuts.windows.is_attack],
            )
        related = UNKNOWN
        if matched is not None and matched.coherent and not is_tall(matched):
            around = votes.places[0].arrival if votes.places else matched.coherent[0].arrival
            locks = (first_sound_locks(cuts, first), first_sound_locks(cuts, second))
            lag = 0.0 if cuts.attacks.count else around
            related = kin(
                cuts.spectra[first],
                cuts.spectra[second],
                cuts.windows,
                locks,
                lag,
                cuts.size,
                lanes.rate_hz,
            )
        result = answer(
            first,
            second,
            matched,
            votes,
            related,
            0.0 if matched is None or is_tall(matched) else timing(cuts, votes, first, lanes),
            lanes.rate_hz,
            is_attacks=cuts.attacks.count > 0,
            is_far=far[first] != far[second],
            is_alone=is_alone,
        )
        if matched is not None and result.candidates and result.kinship < LEAST_KINSHIP:
            walking = walks(
                cuts.spectra[first],
                cuts.spectra[second],
                cuts.windows,
                matched,
                cuts.size,
                cuts.reach,
                lanes.rate_hz,
            )
            if walking is not None:
                candidates = (walking, *result.candidates)
                result = replace(result, candidates=candidates, kinship=WALKING_KINSHIP, is_clean=True)
        candidates = tuple(replace(c, arrival=c.arrival + back) for c in result.candidates)
        return replace(result, candidates=candidates, offset=back)

    numbered = list(enumerate(wanted))
    return spread(one, numbered, threads=WORKERS, progress=progress, cancelled=cancelled)
