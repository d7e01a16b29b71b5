"""Clips and sessions made of arrays, so that analysis can be tested without files."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lagline.session.values import Lane, Session, Source


class FakeClip:
    """An array that reads like lagline.media.clip.Clip: silence outside."""

    def __init__(self, samples: NDArray[np.floating], rate_hz: int = 48_000) -> None:
        self.samples = np.asarray(samples, np.float32)
        self.rate_hz = rate_hz
        self.frames = len(self.samples)

    def read(self, start: int, stop: int) -> NDArray[np.float32]:
        out = np.zeros(stop - start, np.float32)
        first, last = max(start, 0), min(stop, self.frames)
        if first < last:
            out[first - start : last - start] = self.samples[first:last]
        return out


def fake_take(
    lanes: Mapping[str, NDArray[np.floating]], rate_hz: int = 48_000, places: Mapping[str, int] | None = None
) -> tuple[Session, dict[str, FakeClip]]:
    """A session whose lane ids are their names, and its clips."""
    session = Session(
        rate_hz=rate_hz,
        lanes=tuple(
            Lane(
                id=name,
                name=name,
                source=Source(
                    path=Path(f"/nowhere/{name}.wav"),
                    channel=0,
                    rate_hz=rate_hz,
                    frames=len(samples),
                    size_bytes=4 * len(samples),
                ),
                place_samples=(places or {}).get(name, 0),
            )
            for name, samples in lanes.items()
        ),
    )
    return session, {name: FakeClip(samples, rate_hz) for name, samples in lanes.items()}


def shifted(samples: NDArray[np.floating], by: float) -> NDArray[np.float64]:
    """The same sound `by` samples later (fractions too), same length, by phase; silence comes in."""
    count = len(samples)
    size = 1 << (count + int(abs(by)) + 4096).bit_length()
    spectrum = np.fft.rfft(samples, size)
    turn = np.exp(-2j * np.pi * np.arange(len(spectrum)) * by / size)
    turn[-1] = turn[-1].real
    return np.fft.irfft(spectrum * turn, size)[:count]
