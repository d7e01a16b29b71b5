"""A take of three short recordings on disk, with a version that shifts and flips."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import soundfile

from lagline.blend.clips import open_clips
from lagline.media.clip import Clip
from lagline.session.values import Balance, Lane, Move, Session, Source, Version

RATE_HZ = 48_000
FRAMES = 60_000  # what a scripted passage plays
START = 2_345
LENGTH = 90_000

VERSION = Version(
    id="v1",
    name="Shifted",
    moves={"a": Move(101.37), "b": Move(-12.0, -1), "c": Move(0.5)},
    balances={
        lane_id: Balance(gain_db=-2.0 * number, pan=0.4 * number - 0.4)
        for number, lane_id in enumerate("abc")
    },
)


def take(folder: Path) -> Session:
    """Write the recordings unless they are there; the session over them."""
    rng = np.random.default_rng(11)
    lanes = []
    for lane_id in "abc":
        path = folder / f"{lane_id}.wav"
        samples = 0.1 * rng.standard_normal(LENGTH)
        if not path.exists():
            soundfile.write(path, samples.astype(np.float32), RATE_HZ, subtype="FLOAT")
        source = Source(path, 0, RATE_HZ, LENGTH, path.stat().st_size, "FLOAT")
        lanes.append(Lane(lane_id, lane_id, source))
    return Session(rate_hz=RATE_HZ, lanes=tuple(lanes), versions=(VERSION,))


def opened(session: Session) -> Mapping[str, Clip]:
    return open_clips(session)
