"""A day made with the demo generator: 40 takes of 6 lanes, with planted moves, faults and a foreign lane.

    python -m tests.support.made_day FOLDER [--seconds 180] [--takes 40]

Every take is a performance of its own: the demo's phrase, begun at other times and played otherwise. What
each lane hears of the phrase is rendered once for each place it stands in: all delays are the generator's.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile
from tests.support.demo import make_demo, room, scene  # first: it lets `generator` be found

from generator import chapel, kit  # isort: skip
from generator.microphones import RIBBON, SMALL_CONDENSER  # isort: skip

Point = tuple[float, float, float]
PLACES: dict[str, Point] = {
    "near_left": (3.98, 4.62, 1.42),
    "near_right": (3.90, 3.87, 1.28),
    "far": (9.72, 4.75, 2.35),
    "wide": (6.4, 2.9, 1.9),
    "gallery": (13.1, 5.6, 4.3),
}
# lane, the first take of 40 in which it stands elsewhere, where; a shorter day has them as far into it
MOVES: tuple[tuple[str, int, Point], ...] = (
    ("near_right", 12, (4.16, 3.66, 1.38)),
    ("far", 23, (9.17, 4.73, 2.28)),
    ("wide", 31, (6.66, 2.74, 2.0)),
)
CLIPPED = ("near_left", 8)
DROPPED = ("far", 19)
FOREIGN = ("wide", 27)


def place_in(number: int, takes: int) -> int:
    """Where take `number` of 40 is in a day of so many."""
    return -(-number * takes // 40)


def truth_cm() -> dict[str, float]:
    """By how much further from the source each move puts its lane."""
    return {
        lane: 100 * (room.distance_m(chapel.BOARD, to) - room.distance_m(chapel.BOARD, PLACES[lane]))
        for lane, _, to in MOVES
    }


def write_made_day(root: Path, takes: int = 40, seconds: float = 15.0) -> Path:
    """The takes in folders `Take 1` ... below `root`: mono FLAC of 16 bits."""
    heard = _phrases()
    foreign = _drums(int(seconds * room.RATE_HZ))
    for number in range(1, takes + 1):
        folder = root / f"Take {number}"
        folder.mkdir(parents=True)
        starts, gains = _performance(number, seconds)
        for lane in ("near_left", "near_right", "far", "wide", "gallery", "pickup"):
            moved = any(name == lane and number >= place_in(first, takes) for name, first, _ in MOVES)
            samples = _played(heard[lane, moved], starts, gains, int(seconds * room.RATE_HZ))
            if (lane, number) == (CLIPPED[0], place_in(CLIPPED[1], takes)):
                samples = np.clip(6.0 * samples, -1.0, 32767 / 32768)
            if (lane, number) == (DROPPED[0], place_in(DROPPED[1], takes)):
                middle = int(np.argmax(np.abs(samples[: len(samples) // 2])))
                samples[middle : middle + 400] = 0.0
            if (lane, number) == (FOREIGN[0], place_in(FOREIGN[1], takes)):
                samples = foreign
            soundfile.write(folder / f"{lane}.flac", samples, room.RATE_HZ, subtype="PCM_16")
    return root


def _phrases() -> dict[tuple[str, bool], np.ndarray]:
    """What each lane hears of the phrase, where it stands at first and (True) after its move."""
    scene_ = chapel.SCENE
    plans = {plan.name: plan for plan in scene_.lanes}
    more = {"wide": SMALL_CONDENSER, "gallery": RIBBON}
    for name, response in more.items():
        plans[name] = replace(plans["far"], name=name, response=response, record_gain=0.03)
    later = {lane: to for lane, _, to in MOVES}
    frames = int((scene_.seconds + 2.0) * room.RATE_HZ)
    sounds = chapel.sounds(frames)
    fade = np.minimum(
        1.0, np.arange(frames, 0, -1) / room.RATE_HZ
    )  # where the next one begins none breaks off
    heard = {}
    for number, (name, plan) in enumerate(plans.items()):
        for moved, at in ((False, PLACES.get(name)), (True, later.get(name))):
            if moved and at is None:
                continue
            ear = None if at is None else room.Ear(at, chapel.BOARD, 0.5)
            one = replace(scene_, lanes=(replace(plan, ear=ear),), seed=scene_.seed + number)  # its own hiss
            heard[name, moved] = scene.render(one, sounds, frames)[name] / 32768.0 * fade
    return heard


def _performance(number: int, seconds: float) -> tuple[list[float], list[float]]:
    """When the phrase is begun, in s, and how loud."""
    rng = np.random.default_rng(400 + number)
    starts, at = [], float(rng.uniform(0.3, 2.0))
    while at < seconds:
        starts.append(at)
        at += chapel.SCENE.seconds + float(rng.uniform(2.0, 4.0))
    return starts, [float(rng.uniform(0.6, 1.0)) for _ in starts]


def _played(phrase: np.ndarray, starts: list[float], gains: list[float], frames: int) -> np.ndarray:
    out = np.zeros(frames)
    for start_s, gain in zip(starts, gains, strict=True):
        at = round(start_s * room.RATE_HZ)
        first, stop = max(at, 0), min(at + len(phrase), frames)
        if first < stop:
            out[first:stop] += gain * phrase[first - at : stop - at]
    return np.clip(out, -1.0, 32767 / 32768)


def _drums(frames: int) -> np.ndarray:
    """Another performance in another room."""
    name = kit.SCENE.lanes[0].name
    stored, _ = soundfile.read(make_demo.HERE / "kit" / f"{name}.flac")
    return np.resize(np.asarray(stored), frames)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seconds", type=float, default=180.0)
    parser.add_argument("--takes", type=int, default=40)
    asked = parser.parse_args()
    write_made_day(asked.folder, asked.takes, asked.seconds)


if __name__ == "__main__":
    main()
