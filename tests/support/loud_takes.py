"""Takes of steady noise for the hearing guard: whatever rises in what is heard, an action made it rise."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from lagline.session.values import Lane, Move, Session, Source, Version

RATE_HZ = 16_000
SECONDS = 30
CANCELS = 0.99  # what is left of lane "a" when "b" is added as recorded: 40 dB less, 46 dB under both upright


def take(folder: Path, level_db: float) -> Session:
    """Two lanes that nearly cancel as recorded, a quieter one, and versions in which they do not cancel."""
    folder.mkdir(exist_ok=True)
    rng = np.random.default_rng(3)
    frames = RATE_HZ * SECONDS
    sound = rng.standard_normal(frames)
    quiet = 10 ** (-60 / 20) * rng.standard_normal(frames)
    lanes = []
    for lane_id, samples in (("a", sound), ("b", -CANCELS * sound), ("c", quiet)):
        path = folder / f"{lane_id}.wav"
        if not path.exists():
            level = np.float32(10 ** (level_db / 20))
            soundfile.write(path, level * samples.astype(np.float32), RATE_HZ, subtype="FLOAT")
        source = Source(path, 0, RATE_HZ, frames, path.stat().st_size, "FLOAT")
        lanes.append(Lane(lane_id, lane_id, source))
    return Session(
        RATE_HZ,
        tuple(lanes),
        versions=(
            Version("v1", "Shifted", {"b": Move(0.0, -1)}),
            Version("v2", "Other", {"b": Move(40.0, 1)}),
            Version("v3", "Third", {"a": Move(0.0, -1), "b": Move(0.0, -1)}),
        ),
        loop=(0, frames),
    )
