"""Where lanes lie that start far apart: near places are tried first, then where attacks coincide."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

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
    for number, (lane, found) in enumerate(zip(others, coincidences, strict=True)):
        progress(number / len(others))
        if cancelled():
            raise Cancelled
        likely = coarse.far_offset(found, hop, lanes.rate_hz)
        if likely == 0:
            continue
        if (
            _kinship(lanes, levels, hub, lane, 0, fine_reach, origin, len(heard) <= 2, cancelled)
            >= LEAST_KINSHIP
        ):
            continue
        akin = []  # how likely, and where
        for offset, score in zip(found.offsets, found.scores, strict=True):
            if score > LEAST_SCORE and offset != 0:
                kinship = _kinship(
                    lanes, levels, hub, lane, offset, fine_reach, origin, len(heard) <= 2, cancelled
                )
                if kinship >= LEAST_KINSHIP:
                    # Music that repeats is akin at several places: that all attacks coincide counts too.
                    akin.append((kinship * score, offset))
        offsets[lane] = max(akin)[1] if akin else likely
    return offsets


def _kinship(
    lanes: Lanes,
    levels: list[Levels],
    hub: int,
    lane: int,
    offset: int,
    reach: int,
    origin: int,
    is_alone: bool,
    cancelled: Callable[[], bool],
) -> float:
    """How much the two lanes have to do with each other when the second lies so many samples late."""
    pair = Lanes(
        clips=(lanes.clips[hub], lanes.clips[lane]),
        places=(lanes.places[hub], lanes.places[lane]),
        silent=(False, False),
        rate_hz=lanes.rate_hz,
    )
    windows = choose(
        [levels[hub], levels[lane]], [0, offset], lanes.rate_hz, most=TRIAL_WINDOWS, cancelled=cancelled
    )
    courses = Courses((0.0, float(offset)), (0.0, 0.0), (0.0, 0.0), origin)
    cuts = cut_all(pair, windows, courses, reach, cancelled=cancelled)
    answers: list[PairAnswer] = measure_pairs(
        pair, cuts, [(0, 1)], [0, offset], is_alone=is_alone, progress=lambda _: None, cancelled=cancelled
    )
    return answers[0].kinship
