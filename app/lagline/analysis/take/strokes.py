"""Strokes of a take: attacks grouped over all lanes; when each lane hears one first, and how loud."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from lagline.analysis.onsets import begins_cut
from lagline.analysis.scan import WORKERS
from lagline.spread import spread

STEP_S = 0.001  # of the energy curves
RISE_S, REST_S = 0.004, 0.020  # an attack: energy over the next 4 ms against the 20 ms before
LEAST_RISE_DB = 7.0
SPAN_S = 0.025  # the same stroke in another lane: 8.5 m
DEPTH_DB = 45.0  # under a lane's loudest moment nothing counts as an attack
ATTACK_BANDS_HZ = (60.0, 2500.0)  # high-passes; a hi-hat rises over a ringing drum in the second alone

PIECE, SETTLE_CYCLES = 1 << 18, 12  # frames filtered at once; cycles of the cut-off before and behind
SOUND_BANDS_HZ = (60.0, 1200.0)  # high-passes; the first sound is read where it stands out more
EARLY_S, LATE_S, QUIET_S = 0.006, 0.030, 0.012  # around a stroke; the quiet before is 12 ms
FIRST_SHARE = 0.05  # of the early peak: the first sound
OVER_QUIET = 2.0  # and at least this much over what rang before
SILENCE = 1e-5  # of the early peak: what an edit leaves, no room does
CUT_FRAMES = 60  # looked at before a first sound: does the recording begin inside it?
CLEAR = 6.0  # the early peak over what rang before, or no first sound is read

Samples = NDArray[np.float32]


@dataclass(frozen=True)
class Strokes:
    """`at` : start of each stroke, frames, shape (strokes,).

    `level_db` : shape (strokes, lanes), of each lane against its own loudest stroke, so 0 at most.
    `first` : shape (strokes, lanes), frame of the first sound, NaN where none is clear.
    """

    at: NDArray[np.int64]
    level_db: NDArray[np.float64]
    first: NDArray[np.float64]


def strokes(lanes: Sequence[Samples], rate_hz: int) -> Strokes:
    """Group the attacks of all lanes.

    Parameters
    ----------
    lanes : each of shape (frames,), on one timeline, within `SPAN_S` of each other. rate_hz : Hz.
    """
    step = round(STEP_S * rate_hz)
    heard_as = spread(lambda x: _filtered(x, rate_hz), lanes, threads=WORKERS)
    found = spread(lambda bands: _attacks(bands, rate_hz), heard_as, threads=WORKERS)
    attacks = sorted((t, k) for k, times in enumerate(found) for t in times)
    starts: list[int] = []
    heard: list[set[int]] = []
    for t, lane in attacks:
        if not starts or (t - starts[-1]) * STEP_S > SPAN_S:
            starts.append(t)
            heard.append(set())
        heard[-1].add(lane)
    starts = [t for t, who in zip(starts, heard, strict=True) if len(who) > 1]
    at = np.array(starts, np.int64) * step
    level = np.full((len(starts), len(lanes)), -120.0)
    first = np.full((len(starts), len(lanes)), np.nan)
    for k, bands in enumerate(heard_as):
        power = _power(bands[ATTACK_BANDS_HZ[0]], step)
        level[:, k] = [_rise_level_db(power, t) for t in starts]
        first[:, k] = _first_sounds(bands, at, rate_hz)
    if starts:
        level -= level.max(axis=0)
    return Strokes(at, level, first)


def first_sounds(x: Samples, at: NDArray[np.int64], rate_hz: int) -> NDArray[np.float64]:
    """Frame at which a lane hears each stroke first; NaN where it rises out of nothing clear.

    The first sample above a share of the early peak and above what rang before, in the band where the early
    peak stands out more. Shape (strokes,).
    """
    return _first_sounds(_filtered(x, rate_hz), at, rate_hz)


def _filtered(x: Samples, rate_hz: int) -> dict[float, Samples]:
    """A lane above each of the cut-offs."""
    return {hz: high_passed(x, hz, rate_hz) for hz in {*ATTACK_BANDS_HZ, *SOUND_BANDS_HZ}}


def _first_sounds(bands: dict[float, Samples], at: NDArray[np.int64], rate_hz: int) -> NDArray[np.float64]:
    early, late, quiet = (round(s * rate_hz) for s in (EARLY_S, LATE_S, QUIET_S))
    out = np.full(len(at), np.nan)
    best = np.zeros(len(at))
    for band in SOUND_BANDS_HZ:
        y = bands[band]
        for j, t in enumerate(at):
            begin = max(int(t) - early, 0)
            part, before = np.abs(y[begin : int(t) + late]), np.abs(y[max(begin - quiet, 0) : begin])
            peak = part.max() if len(part) else 0.0
            rang = before.max() if len(before) else 0.0
            if peak <= CLEAR * rang or peak == 0:
                continue
            found = int(np.argmax(part > max(FIRST_SHARE * peak, OVER_QUIET * rang)))
            clearness = peak / (rang + 1e-4 * peak)
            if found > 0 and clearness > best[j]:
                best[j], out[j] = clearness, begin + found
    return np.where([_is_cut(bands[SOUND_BANDS_HZ[0]], at, late, rate_hz) for at in out], np.nan, out)


def _is_cut(y: Samples, at: float, late: int, rate_hz: int) -> bool:
    """Whether the recording begins inside the attack, as an edit leaves it."""
    if not np.isfinite(at):
        return False
    before = min(int(at), CUT_FRAMES)
    around = y[int(at) - before : int(at) + late]
    peak = float(np.abs(around).max())
    is_silent = bool(np.all(np.abs(around[: max(before - 2, 0)]) < SILENCE * peak))
    return is_silent and begins_cut(around, before, peak, rate_hz)


def high_passed(x: Samples, cutoff_hz: float, rate_hz: int) -> Samples:
    """Second order (R. Bristow-Johnson, Audio EQ Cookbook, Q 0.707) and causal: no sound comes earlier.

    Done piece by piece in the frequency domain, each with a run-in long enough for the filter to settle.
    """
    run_in = round(SETTLE_CYCLES * rate_hz / cutoff_hz)
    step = PIECE - 2 * run_in
    response = _response(cutoff_hz, rate_hz, PIECE)
    out = np.empty(len(x), np.float32)
    for begin in range(0, len(x), step):
        start, end = max(begin - run_in, 0), min(begin + step, len(x))
        piece = scipy.fft.irfft(scipy.fft.rfft(x[start:end], PIECE) * response, PIECE)
        out[begin:end] = piece[begin - start : end - start]
    return out


@lru_cache(maxsize=8)
def _response(cutoff_hz: float, rate_hz: int, frames: int) -> NDArray[np.complex64]:
    """Of the high-pass at the bins of a transform of so many frames."""
    angle = 2 * np.pi * cutoff_hz / rate_hz
    alpha, cosine = np.sin(angle) / np.sqrt(2), np.cos(angle)
    delay = np.exp(-2j * np.pi * np.arange(frames // 2 + 1) / frames)
    response = (1 + cosine) / 2 * (1 - delay) ** 2
    response /= 1 + alpha - 2 * cosine * delay + (1 - alpha) * delay**2
    return np.asarray(response, np.complex64)


def _attacks(bands: dict[float, Samples], rate_hz: int) -> list[int]:
    """Steps at which the lane's energy rises, in either band."""
    step = round(STEP_S * rate_hz)
    best: NDArray[np.float64] = np.zeros(len(bands[ATTACK_BANDS_HZ[0]]) // step)
    for cutoff in ATTACK_BANDS_HZ:
        power = _power(bands[cutoff], step)
        if not len(power) or not power.max():
            continue
        floor = 1e-5 * power.max()
        now = _mean_ahead(power, round(RISE_S / STEP_S))
        before = _mean_behind(power, round(REST_S / STEP_S))
        rise = 10 * np.log10((now + floor) / (before + floor))
        rise[now < power.max() * 10 ** (-DEPTH_DB / 10)] = 0
        best = np.maximum(best, rise)
    return _peaks(best, LEAST_RISE_DB, round(SPAN_S / STEP_S))


def _peaks(curve: NDArray[np.float64], least: float, apart: int) -> list[int]:
    """Local maxima of at least a height, the higher ones first claiming what is `apart` around them."""
    inner = curve[1:-1]
    tops = np.flatnonzero((inner >= least) & (inner > curve[:-2]) & (inner >= curve[2:])) + 1
    free = np.ones(len(curve), bool)
    out = []
    for k in tops[np.argsort(-curve[tops])]:
        if free[k]:
            out.append(int(k))
            free[max(k - apart + 1, 0) : k + apart] = False
    return out


def _power(x: Samples, step: int) -> NDArray[np.float64]:
    count = len(x) // step
    return np.asarray((x[: count * step].reshape(count, step) ** 2).mean(axis=1), float)


def _mean_ahead(x: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    total = np.concatenate([[0.0], np.cumsum(np.concatenate([x, np.zeros(count)]))])
    return np.asarray((total[count : count + len(x)] - total[: len(x)]) / count)


def _mean_behind(x: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    with_now = _mean_ahead(x[::-1], count)[::-1]
    return np.concatenate([[0.0], with_now[:-1]])


def _rise_level_db(power: NDArray[np.float64], t: int) -> float:
    """Level a stroke adds at step `t`: the loudest 4 ms of the next 35 over what rang before."""
    after = _mean_ahead(power[max(t - 2, 0) : t + 35], round(RISE_S / STEP_S))
    before = power[max(t - 12, 0) : max(t - 2, 1)]
    top = float(after.max()) if len(after) else 0.0
    return float(10 * np.log10(max(top - float(before.mean()), 1e-3 * top) + 1e-12))
