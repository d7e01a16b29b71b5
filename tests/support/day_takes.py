"""A small day: takes of the same lanes with known delays; and values of one that need no recordings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import soundfile
from tests.support.click_take import RATE_HZ, clicks

from lagline.day.values import Day, DayTake, Facts, LaneFact

USUAL = {"near": 0, "side": 56, "room": 196}


def write_day(
    root: Path, takes: int, moved: Mapping[int, Mapping[str, int]] | None = None, frames: int = 2 * RATE_HZ
) -> Path:
    """`takes` folders of near, side and room; from take number `n` (from 1) of `moved` on a lane has another
    delay."""
    delays = dict(USUAL)
    for number in range(1, takes + 1):
        delays |= (moved or {}).get(number, {})
        folder = root / f"Take {number}"
        folder.mkdir(parents=True)
        for seed, (name, delay) in enumerate(delays.items()):
            noise = np.random.default_rng(1000 * number + seed).normal(0, 1e-4, frames)
            sound = clicks(delay, frames, seed=number) + noise
            soundfile.write(folder / f"{name}.wav", sound, RATE_HZ, subtype="PCM_24")
    return root


def write_lane_folders(root: Path, takes: int) -> Path:
    """The same with a folder for each lane: `near/001.wav`, `side/001.wav`, `room/001.wav`."""
    apart = write_day(root.with_name(f"{root.name} apart"), takes)
    for number in range(1, takes + 1):
        for lane in USUAL:
            (root / lane).mkdir(parents=True, exist_ok=True)
            (apart / f"Take {number}" / f"{lane}.wav").rename(root / lane / f"{number:03}.wav")
    return root


def told(name: str, arrivals: Mapping[str, float | None], **more: object) -> DayTake:
    """A take that was measured against "room", without recordings; None for a lane that was not found."""
    lanes = tuple(
        LaneFact(
            lane,
            at,
            None if at is None else 0.1,
            None if at is None else 1,
            "none" if at is None else "strong",
        )
        for lane, at in arrivals.items()
    )
    facts = Facts(48_000, 180.0, lanes, stamp=f"stamp of {name}", anchor="room", versions=("Shifted",))
    return DayTake(name, (Path("/x") / name,), Path("/x") / f"{name}.lagline", facts=facts, **more)  # type: ignore[arg-type]


def told_day(arrivals: Sequence[Mapping[str, float | None]]) -> Day:
    return Day("day", tuple(told(f"Take {number}", one) for number, one in enumerate(arrivals, 1)))
