"""Two clocks: how fast a lane gets later as the take goes on, first roughly, then closely."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
from msgspec.structs import replace

from lagline.analysis.match import LOWEST_HZ, window_weights
from lagline.analysis.measure import Courses, Cuts, Lanes
from lagline.analysis.scan import WORKERS, Floats
from lagline.analysis.tracks import Line, best_line, drifts, first_look, track

ROUGH_SAMPLES = 8.0  # lags of short stretches scatter by so much
CLOSE_SAMPLES = 3.0
LEAST_SECONDS = 4.0  # a take shorter than this shows no drift


def first_courses(lanes: Lanes, cuts: Cuts) -> Courses | None:
    """Courses with the drifts of the lanes against the first one that sounds; None where no lane drifts."""
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

    with ThreadPoolExecutor(WORKERS) as pool:
        lines = list(pool.map(drift_of, others))
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


def closer_courses(lanes: Lanes, cuts: Cuts) -> Courses:
    """The drifts measured again, now that the lanes are cut along them."""
    heard = [i for i, silent in enumerate(lanes.silent) if not silent]
    hub = _hub(cuts, heard)
    slope, sigma = list(cuts.courses.slope), list(cuts.courses.slope_sigma)
    for lane in heard:
        line = close_line(lanes, cuts, hub, lane) if lane != hub else None
        if line is not None and line.share > 0.5:
            slope[lane] += line.slope
            sigma[lane] = line.slope_sigma
    return replace(cuts.courses, slope=tuple(slope), slope_sigma=tuple(sigma))


def close_line(lanes: Lanes, cuts: Cuts, hub: int, lane: int) -> Line | None:
    """What slope is left between two lanes after cutting."""
    each = window_weights(cuts.spectra[hub], cuts.spectra[lane])
    seen = track(
        cuts.spectra[hub],
        cuts.spectra[lane],
        cuts.windows,
        each,
        _open_band(cuts, lanes.rate_hz),
        cuts.size,
        cuts.reach,
    )
    return best_line(seen, tolerance=CLOSE_SAMPLES)


def _open_band(cuts: Cuts, rate_hz: int) -> Floats:
    hz = np.arange(cuts.size // 2 + 1) * (rate_hz / cuts.size)
    return ((hz > 2 * LOWEST_HZ) & (hz < min(12_000.0, 0.45 * rate_hz))).astype(np.float64)


def _hub(cuts: Cuts, heard: list[int]) -> int:
    """The lane that sounds most of the time."""

    def steadiness(lane: int) -> float:
        level = np.sqrt(cuts.spectra[lane].energy)
        return float(level.sum() / max(float(level.max()), 1e-30))

    return max(heard, key=steadiness)
