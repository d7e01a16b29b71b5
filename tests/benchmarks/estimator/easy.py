"""Simple takes any estimator must be sure of: known delays, flips, levels, hum, darker microphones."""

from __future__ import annotations

import numpy as np
import scipy.signal
from numpy.typing import NDArray

Lanes = dict[str, NDArray[np.float64]]
RATE = 48_000
KINDS = (
    "noise",
    "strokes",
    "copies",
    "levels",
    "hum",
    "darker",
    "placed",
    "short",
    "three",
    "strangers",
    "mains",
)
Known = dict[
    str, tuple[float | None, int]
]  # arrival against the first lane (None: no common source), polarity


def take(kind: str, seed: int) -> tuple[Lanes, Known]:
    """Lanes of one take, the anchor first, and what is true of the others."""
    rng = np.random.default_rng([KINDS.index(kind), seed])
    frames = round((0.8 if kind == "short" else rng.uniform(4, 8)) * RATE)
    near = _strokes(rng, frames) if kind in ("strokes", "three", "short") or seed % 2 else _noise(rng, frames)
    delay = 0.0 if kind == "copies" else float(rng.uniform(-300, 700))
    sign = int(rng.choice([-1, 1]))
    far = sign * rng.uniform(0.2, 1.0) * _later(near, delay)
    known: Known = {"far": (delay, sign)}
    lanes = {"near": near, "far": far}
    if kind == "levels":
        lanes["far"] = far * 10 ** (-rng.uniform(30, 50) / 20)
    elif kind == "hum":
        phase = 2 * np.pi * rng.uniform(49.9, 50.1) * np.arange(frames) / RATE
        tone = np.sin(phase) + 0.5 * np.sin(3 * phase)
        lanes = {k: x + 0.02 * tone for k, x in lanes.items()}
    elif kind == "darker":
        # First order: its group delay in the band that decides stays well under a sample.
        sos = scipy.signal.butter(1, rng.uniform(5000, 9000), fs=RATE, output="sos")
        lanes["far"] = scipy.signal.sosfilt(sos, far)
        lag = (1 / (2 * np.pi * 7000)) * RATE
        known["far"] = (delay + 0.5 * lag, sign)
    elif kind == "placed":
        cut = round(rng.uniform(0, 0.5) * RATE)
        lanes["far"], known["far"] = far[cut:], (delay - cut, sign)
    elif kind == "three":
        lanes["room"], known["room"] = 0.4 * _later(near, delay + 411.3), (delay + 411.3, 1)
    elif kind == "strangers":
        lanes["far"] = _strokes(rng, frames) if seed % 2 else _noise(rng, frames)
        known["far"] = (None, 0)
    elif kind == "mains":
        # Steady tones alone in common: a lag of theirs is any lag.
        turns = 2 * np.pi * rng.uniform(49.9, 60.1) * np.arange(frames) / RATE
        tones = sum(0.05 / k * np.sin(k * turns + k) for k in (1, 2, 3, 5)[: 1 + seed % 4])
        level = 10 ** rng.uniform(-5.5, -1.5)
        lanes = {k: g * tones + level * rng.standard_normal(frames) for k, g in (("near", 1.0), ("far", 0.7))}
        known["far"] = (None, 0)
    return {k: x + 3e-4 * rng.standard_normal(len(x)) for k, x in lanes.items()}, known


def _noise(rng: np.random.Generator, frames: int) -> NDArray[np.float64]:
    return np.asarray(0.1 * rng.standard_normal(frames))


def _strokes(rng: np.random.Generator, frames: int) -> NDArray[np.float64]:
    out = np.zeros(frames + RATE)
    at = 0.1
    while at * RATE < frames - 0.2 * RATE:
        length = round(0.25 * RATE)
        burst = rng.standard_normal(length) * np.exp(-np.arange(length) / (0.04 * RATE))
        out[round(at * RATE) :][:length] += burst * rng.uniform(0.1, 0.3)
        at += 0.43 * rng.uniform(0.7, 1.3)
    return out[:frames]


def _later(x: NDArray[np.float64], by: float) -> NDArray[np.float64]:
    """Exactly, by phase; silence comes in."""
    size = 2 * len(x)
    turn = np.exp(-2j * np.pi * np.arange(len(x) + 1) * by / size)
    return np.asarray(np.fft.irfft(np.fft.rfft(x, size) * turn, size)[: len(x)])
