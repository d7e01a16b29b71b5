"""Clips and sessions made of arrays, for tests of the blend and of playback."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import numpy.typing as npt
from msgspec.structs import replace

from lagline.session.values import Balance, Lane, Session, Source, Version

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
    """A session with a lane a clip; `lane_values` are further values of a lane by its id.

    Gains, pans and mutes among them are those of every version.
    """
    balances = {lane_id: _part_of(values, Balance) for lane_id, values in lane_values.items()}
    lanes = tuple(
        Lane(
            id=lane_id,
            name=f"lane {lane_id}",
            source=Source(Path(f"/nowhere/{lane_id}.wav"), 0, rate_hz, clip.frames, 4 * clip.frames),
            **_part_of(lane_values.get(lane_id, {}), Lane),  # type: ignore[arg-type]
        )
        for lane_id, clip in clips.items()
    )
    balanced = tuple(
        replace(version, balances={key: Balance(**values) for key, values in balances.items()})
        for version in versions or (Version(id="v1", name="Shifted"),)
    )
    return Session(rate_hz=rate_hz, lanes=lanes, versions=balanced, current_version_id=balanced[0].id)


def _part_of(values: Mapping[str, object], kind: type[Lane] | type[Balance]) -> dict[str, object]:
    return {key: value for key, value in values.items() if key in kind.__struct_fields__}
