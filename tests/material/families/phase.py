"""Lanes of other phase than the anchor's: high-passes on a bass, constant turns."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from scipy import signal
from tests.material.families.events import SNR, inside, microphones, room_for
from tests.material.sounds import Rng, performance
from tests.material.space import Source, hear
from tests.material.take import Lane, one_source, practice, with_noise


@practice("coloured", "bass", "tuba", "cello")
def coloured(rng: Rng, fs: int, level: int, kind: str) -> tuple[list[Lane], dict[str, Any]]:
    """A low instrument through high-passes of 20 to 160 Hz, first to fourth order, other in each lane.

    A high-pass shifts what is low but no first sound: the truth stays the path.
    """
    frames = int(rng.uniform(5, 9) * fs)
    room = room_for(rng, level)
    place = inside(rng, room)
    mics = []
    for m in microphones(rng, fs, room, place, int(rng.integers(2, 5)), 2.0):
        cut = rng.uniform(20, 50 + 35 * level)
        high = signal.butter(int(rng.integers(1, 3 + (level > 1))), cut, "highpass", fs=fs, output="sos")
        mics.append(replace(m, sos=np.vstack([m.sos, high])))
    heard = hear(rng, [Source(kind, place, performance(rng, fs, frames, kind))], mics, room, fs)
    return one_source(
        rng, with_noise(rng, heard, fs, float(rng.uniform(*SNR[level])) + 10), place, mics, fs
    ), {}


def turned(x: np.ndarray[Any, np.dtype[np.float64]], degrees: float) -> np.ndarray[Any, np.dtype[np.float64]]:
    angle = np.deg2rad(degrees)
    return np.real(signal.hilbert(x)) * np.cos(angle) - np.imag(signal.hilbert(x)) * np.sin(angle)


@practice("rotated", "quarter", "eighth")
def rotated(rng: Rng, fs: int, level: int, how: str) -> tuple[list[Lane], dict[str, Any]]:
    """Every other lane turned by 90, or by 45 or 135 degrees at all frequencies: no polarity is right."""
    frames = int(rng.uniform(5, 9) * fs)
    kind = str(rng.choice(["guitar", "voice", "piano", "violin", "sax"]))
    room = room_for(rng, level)
    place = inside(rng, room)
    mics = microphones(rng, fs, room, place, int(rng.integers(2, 6)), 2.0)
    heard = hear(rng, [Source(kind, place, performance(rng, fs, frames, kind))], mics, room, fs)
    lanes = one_source(rng, with_noise(rng, heard, fs, float(rng.uniform(*SNR[level])) + 10), place, mics, fs)
    out = [lanes[0]]
    for k, lane in enumerate(lanes[1:]):
        if k % 2:
            out.append(lane)
            continue
        degrees = float(rng.choice([90, -90] if how == "quarter" else [45, -45, 135, -135]))
        assert lane.offset is not None
        accept = (lane.offset - 2, lane.offset + 2)
        out.append(replace(lane, samples=turned(lane.samples, degrees), polarity=None, accept=accept))
    return out, {}
