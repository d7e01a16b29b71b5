"""Small recordings with known delays, written for a desk test."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import soundfile

from lagline.jobs.open_take import open_take
from lagline.session.values import Session

RATE_HZ = 48_000


def clicks(delay: int, frames: int, seed: int = 5) -> np.ndarray:
    """Four decaying bursts of noise, no two alike, `delay` samples late; float64, shape (frames,)."""
    rng = np.random.default_rng(seed)
    sound = np.zeros(frames)
    for start in np.linspace(0.1, 0.8, 4) * frames:
        burst = rng.normal(0, 0.2, 12_000) * np.exp(-np.arange(12_000) / 2_500)
        at = int(start) + delay
        sound[at : at + len(burst)] += burst[: max(frames - at, 0)]
    return sound


def write_click_take(folder: Path, delays: Mapping[str, int], frames: int = 2 * RATE_HZ) -> Session:
    """One WAV a name with the same bursts at each delay (samples), opened as a session."""
    folder.mkdir(parents=True)
    paths = []
    for seed, (name, delay) in enumerate(delays.items()):
        noise = np.random.default_rng(100 + seed).normal(0, 1e-4, frames)
        paths.append(folder / f"{name}.wav")
        soundfile.write(paths[-1], clicks(delay, frames) + noise, RATE_HZ, subtype="PCM_24")
    return open_take(paths).session
