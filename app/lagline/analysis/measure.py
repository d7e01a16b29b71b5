"""Cutting all lanes at once and measuring the pairs worth measuring."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from lagline.analysis.match import match
from lagline.analysis.onsets import Picks, pick
from lagline.analysis.pairs import PairAnswer, answer
from lagline.analysis.scan import WORKERS, Floats, Readable
from lagline.analysis.spectra import LaneSpectra, cut, lane_spectra, transform_size
from lagline.analysis.votes import NO_VOTES, compare
from lagline.analysis.windows import Windows
from lagline.errors import Cancelled


class Lanes(Struct, frozen=True):
    """The lanes as analysis sees them: audio, session sample of the first frame, silent or not."""

    clips: tuple[Readable, ...]
    places: tuple[int, ...]
    silent: tuple[bool, ...]
    rate_hz: int


class Cuts(Struct, frozen=True):
    """All lanes in the same windows. offsets : what was taken out, shape (lanes, windows)."""

    windows: Windows
    attacks: Windows
    offsets: Floats
    spectra: list[LaneSpectra]
    picks: list[Picks]
    size: int
    reach: int


def cut_all(
    lanes: Lanes, windows: Windows, offsets: Floats, reach: int, *, cancelled: Callable[[], bool]
) -> Cuts:
    """Cut, transform and read the first sounds of every lane."""
    size = transform_size(windows.length, reach)
    spectra = lane_spectra(
        lanes.clips, lanes.places, offsets, windows, size, lanes.rate_hz, cancelled=cancelled
    )
    at = windows.is_attack
    attacks = replace(
        windows, start=windows.start[at], turn=windows.turn[at], kind=windows.kind[at], is_attack=at[at]
    )

    def read(index: int) -> Picks:
        whole = np.floor(offsets[index][at] + 0.5)
        pieces = cut(lanes.clips[index], lanes.places[index], whole, attacks, False, cancelled)
        picks = pick(pieces, attacks.lead, lanes.rate_hz)
        # Positions count from where the exact offset would have cut.
        return replace(picks, position=picks.position - (offsets[index][at] - whole)[:, None])

    with ThreadPoolExecutor(WORKERS) as pool:
        picks = list(pool.map(read, range(len(lanes.clips))))
    return Cuts(
        windows=windows,
        attacks=attacks,
        offsets=offsets,
        spectra=spectra,
        picks=picks,
        size=size,
        reach=reach,
    )


def all_pairs(lanes: Lanes) -> list[tuple[int, int]]:
    heard = [i for i, silent in enumerate(lanes.silent) if not silent]
    return list(itertools.combinations(heard, 2))


def measure_pairs(
    lanes: Lanes,
    cuts: Cuts,
    wanted: Sequence[tuple[int, int]],
    *,
    progress: Callable[[float], None],
    cancelled: Callable[[], bool],
) -> list[PairAnswer]:
    """Answers of the wanted pairs; arrivals are on the session's timeline, offsets put back."""
    done = 0

    def one(pair: tuple[int, int]) -> PairAnswer:
        nonlocal done
        if cancelled():
            raise Cancelled
        first, second = pair
        taken = cuts.offsets[second] - cuts.offsets[first]
        back = float(np.median(taken)) if len(taken) else 0.0
        matched = match(
            cuts.spectra[first], cuts.spectra[second], cuts.windows, cuts.size, lanes.rate_hz, cuts.reach
        )
        votes = NO_VOTES
        if cuts.attacks.count:
            votes = compare(
                cuts.picks[first],
                cuts.picks[second],
                np.zeros(cuts.attacks.count),
                lanes.rate_hz,
                cuts.reach,
            )
        result = answer(first, second, matched, votes, lanes.rate_hz)
        done += 1
        progress(done / len(wanted))
        candidates = tuple(replace(c, arrival=c.arrival + back) for c in result.candidates)
        return replace(result, candidates=candidates, offset=back)

    with ThreadPoolExecutor(WORKERS) as pool:
        return list(pool.map(one, wanted))
