"""Arrival over time: two clocks that drift apart, a player who moves, a passage that differs.

Windows are grouped along the take; each group gives its best few lags. A straight line through them is
found by trying pairs of groups (M. A. Fischler and R. C. Bolles, "Random sample consensus", Communications
of the ACM 24(6), 1981; here every pair is tried) and fitted by weighted least squares.
"""

from __future__ import annotations

import numpy as np
import scipy.fft
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.peaks import Peak, find_peaks
from lagline.analysis.scan import Floats
from lagline.analysis.spectra import LaneSpectra, curve_of, smoothed
from lagline.analysis.windows import Windows

MOST_GROUPS = 24
FEWEST_WINDOWS = 3  # in a group
WORST_PPM = 400.0
LEAST_PPM = 0.3
STRETCH_S = 0.6
TRIALS = 4000
LEAST_HEIGHT = 0.35  # of the tallest group's peak
NEARLY_AS_HIGH = 0.65
MOST_TURNS = 5.0  # times that a source walks its whole path up or down in one take


class Track(Struct, frozen=True):
    """Lags of the groups: time in samples of the common frame, the best few peaks, weight (0..1)."""

    time: Floats
    peaks: tuple[tuple[Peak, ...], ...]
    weight: Floats


class Line(Struct, frozen=True):
    """Lag = start + slope * time; `slope_sigma` likewise a sample.

    share : of the groups that lie on it. spread : of those, rms samples. strays : share of the groups that
    lie beside it but not far: a source that moves, not a clock that drifts.
    """

    start: float
    slope: float
    slope_sigma: float
    share: float
    spread: float
    strays: float


def track(
    first: LaneSpectra,
    second: LaneSpectra,
    windows: Windows,
    each: Floats,
    weight: Floats,
    size: int,
    reach: int,
    *,
    is_close: bool = False,
) -> Track:
    """Lags of the second lane against the first, group by group.

    Parameters
    ----------
    each : weight of every window, 0 where either lane is silent. weight : spectrum weighting (bins,), 0
        outside the band worth looking at. is_close : every window by itself, where groups would smear a path.
    """
    used = np.flatnonzero(each > 0)
    count = max(len(used) if is_close else min(MOST_GROUPS, len(used) // FEWEST_WINDOWS), 1)
    times, peaks, heights = [], [], []
    for rows in np.array_split(used, count):
        if not len(rows):
            continue
        scale = each[rows, None].astype(np.float32)
        cross = np.einsum("wf,wf->f", np.conj(first.values[rows]) * scale, second.values[rows])
        cross = smoothed(cross, max(int(size / (5 * reach)), 1))
        unit = np.where(weight > 0, cross / np.maximum(np.abs(cross), 1e-30) * weight, 0.0)
        curve = curve_of(unit, size, reach) * (len(weight) / max(float(weight.sum()), 1e-12))
        found = find_peaks(curve, reach, most=3, least=0.5)
        if found:
            times.append(float(np.average(windows.time[rows], weights=each[rows])))
            peaks.append(found)
            heights.append(found[0].height)
    top = max(heights, default=0.0)
    return Track(
        time=np.array(times),
        peaks=tuple(peaks),
        weight=np.array(heights) / top if top > 0 else np.zeros(0),
    )


def first_look(
    first: LaneSpectra,
    second: LaneSpectra,
    windows: Windows,
    each: Floats,
    size: int,
    reach: int,
    rate_hz: int,
) -> Track:
    """The two best lags of every short stretch, whitened, whole samples: enough to see a drift.

    Long groups would smear it: 100 ppm are five samples a second at 48 kHz.
    """
    used = np.flatnonzero(each > 0)
    hz = np.arange(size // 2 + 1) * (rate_hz / size)
    band = (hz > 150) & (hz < min(8000.0, 0.45 * rate_hz)) & ~(first.hum & second.hum)
    times, peaks, heights = [], [], []
    for rows in _stretches(windows.start[used], STRETCH_S * rate_hz):
        at = used[rows]
        cross = np.einsum("wf,wf->f", np.conj(first.values[at]), second.values[at])
        unit = np.where(band, cross / np.maximum(np.abs(cross), 1e-20), 0).astype(np.complex64)
        full = scipy.fft.irfft(unit, size)
        curve = np.abs(np.concatenate((full[-reach:], full[: reach + 1])))
        best = int(np.argmax(curve))
        height = float(curve[best]) / float(band.sum()) * size / 2
        curve[max(best - 8, 0) : best + 9] = 0
        other = int(np.argmax(curve))
        found = (Peak(float(best - reach), 1, height), Peak(float(other - reach), 1, 0.7 * height))
        times.append(float(windows.time[at].mean()))
        peaks.append(found)
        heights.append(height)
    top = max(heights, default=0.0)
    return Track(
        time=np.array(times),
        peaks=tuple(peaks),
        weight=np.array(heights) / top if top > 0 else np.zeros(0),
    )


def _stretches(starts: NDArray[np.int64], longest: float) -> list[NDArray[np.intp]]:
    """Neighbouring windows together, as long as they lie within `longest` samples; at most four."""
    out: list[NDArray[np.intp]] = []
    begin = 0
    for i in range(1, len(starts) + 1):
        if i == len(starts) or starts[i] - starts[begin] > longest or i - begin >= 4:
            out.append(np.arange(begin, i))
            begin = i
    return out


def best_line(seen: Track, *, tolerance: float) -> Line | None:
    """The straight line that most groups lie on; None with fewer than four groups."""
    times = seen.time
    if len(times) < 4:
        return None
    spots = [(g, p.arrival, p.height) for g, peaks in enumerate(seen.peaks) for p in peaks[:2]]
    at = np.array([times[g] for g, _, _ in spots])
    lag = np.array([value for _, value, _ in spots])
    height = np.array([h for _, _, h in spots])
    order = np.random.default_rng(0).integers(0, len(spots), (TRIALS, 2))
    apart = at[order[:, 1]] - at[order[:, 0]]
    usable = np.abs(apart) > 0.2 * (times[-1] - times[0])
    order, apart = order[usable], apart[usable]
    slope = (lag[order[:, 1]] - lag[order[:, 0]]) / apart
    gentle = np.abs(slope) < WORST_PPM * 1e-6
    # A line without slope is always tried: a drift has to explain more than standing still does.
    order, slope = order[gentle], slope[gentle]
    flat = np.arange(len(spots))
    begin = np.concatenate((lag[order[:, 0]] - slope * at[order[:, 0]], lag[flat]))
    slope = np.concatenate((slope, np.zeros(len(flat))))
    best, best_score = 0, -1.0
    for first in range(0, len(slope), 512):
        rows = slice(first, first + 512)
        off = np.abs(lag[None, :] - begin[rows, None] - slope[rows, None] * at[None, :])
        score = (np.maximum(1 - off / tolerance, 0) * height[None, :]).sum(axis=1)
        top = int(np.argmax(score))
        if score[top] > best_score:
            best, best_score = first + top, float(score[top])
    return _fitted(seen, float(begin[best]), float(slope[best]), tolerance) if best_score > 0 else None


def drifts(line: Line | None, groups: int) -> bool:
    """Whether a line is a drift beyond doubt."""
    if line is None or groups < 6:
        return False
    if line.strays > 0.15 * line.share:
        return False
    return line.share > max(0.5, 4 / groups) and abs(line.slope) > max(5 * line.slope_sigma, LEAST_PPM * 1e-6)


def _fitted(seen: Track, start: float, slope: float, tolerance: float) -> Line | None:
    """Least squares through the groups near a line, let in again once."""
    times = seen.time
    middle = float(times.mean())
    at_middle = start + slope * middle
    sigma = share = spread = 0.0
    first_tolerance = tolerance
    for _ in range(3):
        rows: list[tuple[float, float, float]] = []
        for g, peaks in enumerate(seen.peaks):
            expected = at_middle + slope * (times[g] - middle)
            near = [p for p in peaks if abs(p.arrival - expected) < tolerance]
            if near:
                taken = min(near, key=lambda p: abs(p.arrival - expected))
                rows.append((times[g] - middle, taken.arrival, taken.height))
        if len(rows) < 4:
            return None
        x, y, w = (np.array(column) for column in zip(*rows, strict=True))
        mean_x, mean_y = np.average(x, weights=w), np.average(y, weights=w)
        squares = float((w * (x - mean_x) ** 2).sum())
        slope = float((w * (x - mean_x) * (y - mean_y)).sum() / max(squares, 1e-12))
        at_middle = float(mean_y - slope * mean_x)
        left = y - at_middle - slope * x
        spread = float(np.sqrt(np.average(left**2, weights=w) * len(rows) / max(len(rows) - 2, 1)))
        sigma = max(spread, 0.01) / np.sqrt(max(float(((x - mean_x) ** 2).sum()), 1e-12))
        share = len(rows) / len(times)
        tolerance = max(min(tolerance, 4 * spread), 0.5)
    best = np.array([peaks[0].arrival for peaks in seen.peaks])
    away = np.abs(best - at_middle - slope * (times - middle))
    return Line(
        start=at_middle - slope * middle,
        slope=slope,
        slope_sigma=float(sigma),
        share=share,
        spread=spread,
        strays=float(np.mean((away > first_tolerance) & (away < 12 * first_tolerance))),
    )


def movement(seen: Track, polarity: int, about: Floats) -> tuple[Floats, Floats, Floats]:
    """Times, lags and weights of the groups worth believing, of the wanted polarity.

    Parameters
    ----------
    about : the lag expected of every group, shape (groups,). Of a group's peaks that are nearly as high as
        its highest the one nearest to it counts: a reflection that is now and then the louder is no movement.
    """
    rows = []
    for t, peaks, w, near in zip(seen.time, seen.peaks, seen.weight, about, strict=True):
        if w <= LEAST_HEIGHT or peaks[0].polarity != polarity:
            continue
        high = [p for p in peaks if p.polarity == polarity and p.height > NEARLY_AS_HIGH * peaks[0].height]
        rows.append((t, min(high, key=lambda p: abs(p.arrival - near)).arrival, float(w)))
    if not rows:
        return np.zeros(0), np.zeros(0), np.zeros(0)
    t, lag, w = (np.array(column) for column in zip(*rows, strict=True))
    return t, lag, w


def wander(times: Floats, lags: Floats, weights: Floats) -> float:
    """How far the arrival walks over the take, samples: its smooth part, end to end, beyond its scatter.

    Arrivals that jump to and fro (now one instrument is struck, now another) are no walk: 0.
    """
    if len(lags) < 4:
        return 0.0
    # Three at the ends too: one stretch of the take that is off is no walk, wherever it lies.
    starts = np.clip(np.arange(len(lags)) - 1, 0, len(lags) - 3)
    smooth = np.array([np.median(lags[start : start + 3]) for start in starts])
    scatter = 1.4826 * float(np.median(np.abs(np.diff(lags)))) / np.sqrt(2)
    walked = float(smooth.max() - smooth.min())
    if walked <= max(6 * scatter, 1.0):
        return 0.0
    covered = float(np.abs(np.diff(smooth)).sum())
    return walked if covered < MOST_TURNS * walked else 0.0
