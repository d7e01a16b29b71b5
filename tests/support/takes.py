"""Small takes on disk for tests: known samples, known places, metadata where wanted."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from tests.support.recordings import FloatArray, noise

from lagline.media.probe import probe
from lagline.media.riff import Chunk
from lagline.media.write import write_audio
from lagline.session.values import Lane, Session, Source


def lane_on_disk(
    path: Path,
    samples: FloatArray,
    *,
    rate_hz: int = 48_000,
    subtype: str = "PCM_24",
    place_samples: int = 0,
    chunks: Sequence[Chunk] = (),
    name: str | None = None,
) -> Lane:
    """Write a recording of one channel and give the lane it makes."""
    write_audio(path, [samples], rate_hz, 1, subtype, frames=len(samples), chunks=chunks)
    info = probe(path)
    source = Source(path, 0, rate_hz, info.frames, info.size_bytes, info.subtype, info.time_reference)
    lane_name = name or path.stem
    return Lane(id=lane_name.lower(), name=lane_name, source=source, place_samples=place_samples)


def noise_take(
    folder: Path, *, frames: int = 9_000, subtype: str = "PCM_24", rate_hz: int = 48_000
) -> Session:
    """Near, Far and Room of independent noise; Far starts 500 samples later."""
    folder.mkdir(parents=True, exist_ok=True)
    bits = 16 if subtype == "PCM_16" else 24
    lanes = []
    for seed, (name, place) in enumerate((("Near", 0), ("Far", 500), ("Room", 0))):
        samples = np.rint(noise(frames, seed=seed)[:, 0] * 2 ** (bits - 1)) / 2 ** (bits - 1)
        lane = lane_on_disk(
            folder / f"{name}.wav",
            samples.astype(np.float32),
            rate_hz=rate_hz,
            subtype=subtype,
            place_samples=place,
        )
        lanes.append(lane)
    return Session(rate_hz=rate_hz, lanes=tuple(lanes), name="Invented take", anchor_id="room")
