"""Clips and sessions made of arrays, for tests of the blend and of playback."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import numpy.typing as npt

from lagline.session.values import Lane, Session, Source, Version

FloatArray = npt.NDArray[np.float32]


class ArrayClip:
    """A clip of samples in memory; counts its reads."""

    def __init__(self, samples: npt.ArrayLike, rate_hz: int = 48_000) -> None:
        self.samples = np.asarray(samples, dtype=np.float32)
        self.rate_hz = rate_hz
        self.frames = len(self.samples)
        self.reads = 0

    def read(self, start: int, stop: int) -> FloatArray:
        self.reads += 1
        out = np.zeros(stop - start, dtype=np.float32)
        first, last = max(start, 0), min(stop, self.frames)
        if first < last:
            out[first - start : last - start] = self.samples[first:last]
        return out

    def close(self) -> None:
        """Nothing to close."""


def noise_clips(count: int, frames: int, *, seed: int = 0, level: float = 0.1) -> dict[str, ArrayClip]:
    """Independent white noise a lane, by lane id "a", "b", ..."""
    rng = np.random.default_rng(seed)
    return {
        chr(ord("a") + n): ArrayClip(rng.standard_normal(frames).astype(np.float32) * np.float32(level))
        for n in range(count)
    }


def session_of(
    clips: Mapping[str, ArrayClip],
    *versions: Version,
    rate_hz: int = 48_000,
    **lane_values: Mapping[str, object],
) -> Session:
    """A session with a lane a clip; `lane_values` are further values of a lane by its id."""
    lanes = tuple(
        Lane(
            id=lane_id,
            name=f"lane {lane_id}",
            source=Source(Path(f"/nowhere/{lane_id}.wav"), 0, rate_hz, clip.frames, 4 * clip.frames),
            **lane_values.get(lane_id, {}),  # type: ignore[arg-type]
        )
        for lane_id, clip in clips.items()
    )
    if not versions:
        return Session(rate_hz=rate_hz, lanes=lanes)
    return Session(rate_hz=rate_hz, lanes=lanes, versions=versions, current_version_id=versions[0].id)
