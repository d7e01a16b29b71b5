"""Where lanes lie that start far apart: near places are tried first, then where the phase transform over all
lags has one clear peak, then where attacks coincide.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis import coarse
from lagline.analysis.measure import Courses, Lanes, cut_all, measure_pairs
from lagline.analysis.pairs import LEAST_KINSHIP, PairAnswer
from lagline.analysis.scan import WORKERS, Levels
from lagline.analysis.windows import choose
from lagline.errors import Cancelled
from lagline.spread import spread

FINE_MS = 200.0  # a search range up to this needs no coarse look
TRIAL_WINDOWS = 48
LEAST_SCORE = 0.15  # of a coincidence worth trying
NEAR_ENOUGH = 0.6  # of the attacks' coincidence near by: no far place is looked for


def far_starts(
    lanes: Lanes,
    levels: list[Levels],
    search_ms: float | None,
    fine_reach: int,
    origin: int,
    *,
    progress: Callable[[float], None],
    cancelled: Callable[[], bool],
) -> list[int]:
    """Samples by which each lane starts late against one of them, 0 where it lies near already.

    Parameters
    ----------
    search_ms : how far to look on either side, None for everywhere. fine_reach : samples on either side
        that the fine search covers by itself. origin : session sample where the passage starts.
    """
    count = len(levels)
    heard = [i for i in range(count) if not lanes.silent[i]]
    offsets = [0] * count
    if len(heard) < 2 or (search_ms is not None and search_ms <= FINE_MS):
        return offsets
    hop = levels[0].hop
    reach_hops = None if search_ms is None else round(search_ms * lanes.rate_hz / 1000 / hop)
    profiles = spread(coarse.profile, levels, threads=WORKERS)
    hub = max(heard, key=lambda i: float((profiles[i] ** 2).sum() / (1e-9 + np.abs(profiles[i]).sum())))
    others = [lane for lane in heard if lane != hub]

    def look(lane: int) -> coarse.Coincidence:
        return coarse.coincide(profiles[hub], profiles[lane], hop, lanes.rate_hz, reach_hops=reach_hops)

    coincidences = spread(look, others, threads=WORKERS, cancelled=cancelled)
    search = _Search(lanes, levels, hub, fine_reach, origin, len(heard) <= 2, cancelled)
    farthest = math.inf if search_ms is None else search_ms * lanes.rate_hz / 1000
    for number, (lane, found) in enumerate(zip(others, coincidences, strict=True)):
        progress(number / len(others))
        if cancelled():
            raise Cancelled
        offsets[lane] = search.offset(lane, found, farthest)
    return offsets


class _Search(Struct, frozen=True):
    """Lanes against the one that all others are held against, the hub; parameters as of `far_starts`."""

    lanes: Lanes
    levels: list[Levels]
    hub: int
    reach: int
    origin: int
    is_alone: bool
    cancelled: Callable[[], bool]
    spectra: dict[int, NDArray[np.complex64]] = {}

    def offset(self, lane: int, found: coarse.Coincidence, farthest: float) -> int:
        """Samples by which a lane starts late, no farther than asked; 0 where it lies near."""
        rate, hop = self.lanes.rate_hz, self.levels[0].hop
        if found.near_score >= max(NEAR_ENOUGH, *found.scores):
            return 0
        place, height = coarse.over_all_lags(self._spectrum(self.hub), self._spectrum(lane), rate)
        if height >= coarse.CERTAIN and abs(place) <= farthest:
            return place if abs(place) > coarse.NEAR_S * rate else 0
        likely = coarse.far_offset(found, hop, rate)
        if likely == 0 or self._kinship(lane, 0) >= LEAST_KINSHIP:
            return 0
        akin = []  # how likely, and where
        for offset, score in zip(found.offsets, found.scores, strict=True):
            if score > LEAST_SCORE and offset != 0:
                kinship = self._kinship(lane, offset)
                if kinship >= LEAST_KINSHIP:
                    # Music that repeats is akin at several places: that all attacks coincide counts too.
                    akin.append((kinship * score, offset))
        return max(akin)[1] if akin else likely

    def _spectrum(self, lane: int) -> NDArray[np.complex64]:
        if lane == self.hub and lane in self.spectra:
            return self.spectra[lane]
        lanes, frames = self.lanes, len(self.levels[0].power) * self.levels[0].hop
        found = coarse.looked_at(lanes.clips[lane], self.origin - lanes.places[lane], frames, lanes.rate_hz)
        if lane == self.hub:
            self.spectra[lane] = found
        return found

    def _kinship(self, lane: int, offset: int) -> float:
        """How much a lane has to do with the hub when it lies so many samples late."""
        lanes, hub = self.lanes, self.hub
        pair = Lanes(
            clips=(lanes.clips[hub], lanes.clips[lane]),
            places=(lanes.places[hub], lanes.places[lane]),
            silent=(False, False),
            rate_hz=lanes.rate_hz,
        )
        levels = [self.levels[hub], self.levels[lane]]
        windows = choose(levels, [0, offset], lanes.rate_hz, most=TRIAL_WINDOWS, cancelled=self.cancelled)
        courses = Courses((0.0, float(offset)), (0.0, 0.0), (0.0, 0.0), self.origin)
        cuts = cut_all(pair, windows, courses, self.reach, cancelled=self.cancelled)
        answers: list[PairAnswer] = measure_pairs(
            pair,
            cuts,
            [(0, 1)],
            [0, offset],
            is_alone=self.is_alone,
            progress=lambda _: None,
            cancelled=self.cancelled,
        )
        return answers[0].kinship
