"""Two clocks: how fast a lane gets later as the take goes on, first roughly, then closely."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from msgspec.structs import replace

from lagline.analysis.match import LOWEST_HZ, window_weights
from lagline.analysis.measure import Courses, Cuts, Lanes
from lagline.analysis.scan import WORKERS, Floats
from lagline.analysis.tracks import Line, Track, best_line, drifts, first_look, track, wander
from lagline.errors import Cancelled
from lagline.spread import spread

ROUGH_SAMPLES = 8.0  # lags of short stretches scatter by so much
CLOSE_SAMPLES = 3.0
BENT_SHARE = 0.1  # of the way that a drift goes over the take
LEAST_SECONDS = 4.0  # a take shorter than this shows no drift


def first_courses(
    lanes: Lanes, cuts: Cuts, *, progress: Callable[[float], None], cancelled: Callable[[], bool]
) -> Courses | None:
    """Courses with the drifts of the lanes against the one that sounds most; None where no lane drifts."""
    windows = cuts.windows
    heard = [i for i, silent in enumerate(lanes.silent) if not silent]
    if windows.count < 6 or np.ptp(windows.start) < LEAST_SECONDS * lanes.rate_hz or len(heard) < 2:
        return None
    hub = _hub(cuts, heard)
    start, slope, sigma = list(cuts.courses.start), list(cuts.courses.slope), list(cuts.courses.slope_sigma)
    others = [lane for lane in heard if lane != hub]

    def drift_of(lane: int) -> Line | None:
        each = window_weights(cuts.spectra[hub], cuts.spectra[lane])
        seen = first_look(
            cuts.spectra[hub], cuts.spectra[lane], windows, each, cuts.size, cuts.reach, lanes.rate_hz
        )
        line = best_line(seen, tolerance=ROUGH_SAMPLES)
        return line if drifts(line, len(seen.time)) else None

    lines = spread(drift_of, others, threads=WORKERS, progress=progress, cancelled=cancelled)
    found = False
    for lane, line in zip(others, lines, strict=True):
        if line is not None:
            # The lags of the line count from the cutting, which is kept; only the slope is taken over.
            slope[lane] += line.slope
            sigma[lane] = line.slope_sigma
            start[lane] += round(line.start + line.slope * cuts.courses.origin)
            found = True
    if not found:
        return None
    return replace(cuts.courses, start=tuple(start), slope=tuple(slope), slope_sigma=tuple(sigma))


def closer_courses(lanes: Lanes, cuts: Cuts, *, cancelled: Callable[[], bool]) -> Courses:
    """The drifts measured again, now that the lanes are cut along them.

    A lane whose arrival still walks along such a line has a source that moves, not a clock of its own, and
    gets no drift.
    """
    heard = [i for i, silent in enumerate(lanes.silent) if not silent]
    # The first look measured against a lane without a slope: against such a one again.
    hub = _hub(cuts, [lane for lane in heard if not cuts.courses.slope[lane]])
    start, slope, sigma = list(cuts.courses.start), list(cuts.courses.slope), list(cuts.courses.slope_sigma)
    middle = float(cuts.windows.time.mean())
    for lane in heard:
        if cancelled():
            raise Cancelled
        if lane == hub:
            continue
        seen = _close_track(lanes, cuts, hub, lane)
        line = best_line(seen, tolerance=CLOSE_SAMPLES)
        if slope[lane] and _is_bent(seen, line, slope[lane]):
            start[lane] += round(slope[lane] * (middle - cuts.courses.origin))
            slope[lane] = sigma[lane] = 0.0
        elif line is not None and line.share > 0.5:
            slope[lane] += line.slope
            sigma[lane] = line.slope_sigma
    return replace(cuts.courses, start=tuple(start), slope=tuple(slope), slope_sigma=tuple(sigma))


def _is_bent(seen: Track, line: Line | None, slope: float) -> bool:
    """Whether what is left of a lane's lags walks too far for the drift taken out to be one."""
    if len(seen.time) < 4:
        return False
    lags = np.array([peaks[0].arrival for peaks in seen.peaks])
    if line is not None:
        lags = lags - line.slope * seen.time
    walked = wander(seen.time, lags, seen.weight)
    return walked > max(BENT_SHARE * abs(slope) * float(np.ptp(seen.time)), CLOSE_SAMPLES)


def _close_track(lanes: Lanes, cuts: Cuts, hub: int, lane: int) -> Track:
    """Lags that are left between two lanes after cutting."""
    each = window_weights(cuts.spectra[hub], cuts.spectra[lane])
    return track(
        cuts.spectra[hub],
        cuts.spectra[lane],
        cuts.windows,
        each,
        _open_band(cuts, lanes.rate_hz),
        cuts.size,
        cuts.reach,
    )


def _open_band(cuts: Cuts, rate_hz: int) -> Floats:
    hz = np.arange(cuts.size // 2 + 1) * (rate_hz / cuts.size)
    return ((hz > 2 * LOWEST_HZ) & (hz < min(12_000.0, 0.45 * rate_hz))).astype(np.float64)


def _hub(cuts: Cuts, heard: list[int]) -> int:
    """The lane that sounds most of the time."""

    def steadiness(lane: int) -> float:
        level = np.sqrt(cuts.spectra[lane].energy)
        return float(level.sum() / max(float(level.max()), 1e-30))

    return max(heard, key=steadiness)
