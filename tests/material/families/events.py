"""One event in the take: clap, slate, click, note, stroke; and a line of eight microphones."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from tests.material.sounds import Rng, add, impulse, voice
from tests.material.space import Microphone, Room, Source, colour, hear
from tests.material.take import Lane, one_source, practice, with_noise

SNR = {1: (60, 80), 2: (38, 55), 3: (20, 32)}
Place = tuple[float, float, float]


def room_for(rng: Rng, level: int, free: float = 0.35) -> Room | None:
    """A free field with chance `free`, else a room whose reverberation grows with the level."""
    if rng.random() < free:
        return None
    size = (rng.uniform(4, 9), rng.uniform(4, 8), rng.uniform(2.5, 3.6))
    return Room(size, float(rng.uniform(0.15, 0.3) * (1 + 0.5 * (level - 1))))


def inside(rng: Rng, room: Room | None, edge: float = 0.5) -> Place:
    size = (7.0, 6.0, 3.0) if room is None else room.size
    x, y, z = (float(rng.uniform(edge, s - edge)) for s in size)
    return x, y, min(z, 1.9)


def microphones(
    rng: Rng, fs: int, room: Room | None, source: Place, count: int, reach: float
) -> list[Microphone]:
    """`count` microphones 0.2 m to `reach` from the source, some cardioid, aimed at it."""
    mics: list[Microphone] = []
    while len(mics) < count:
        direction = rng.standard_normal(3) * [1, 1, 0.4]
        away = float(np.exp(rng.uniform(np.log(0.2), np.log(reach))))
        place = np.asarray(source) + direction / np.linalg.norm(direction) * away
        size = (20, 20, 4) if room is None else room.size
        if room is not None and not all(0.15 < p < s - 0.15 for p, s in zip(place, size, strict=True)):
            continue
        pattern = float(rng.choice([0.0, 0.0, 0.5]))
        aim = tuple(np.asarray(source) - place)
        name = f"mic{len(mics) + 1}"
        mics.append(
            Microphone(name, tuple(place), aim, pattern, int(rng.choice([1, 1, 1, -1])), sos=colour(rng, fs))
        )
    return mics


def cut(lanes: list[Lane], first: int, last: int) -> list[Lane]:
    return [replace(lane, samples=lane.samples[max(first, 0) : last]) for lane in lanes]


@practice("single", "clap", "slate", "click", "balloon", "note", "stroke")
def single(rng: Rng, fs: int, level: int, kind: str) -> tuple[list[Lane], dict[str, Any]]:
    """The event somewhere in some seconds of room."""
    room = room_for(rng, level)
    place = inside(rng, room)
    y = np.zeros(int(rng.uniform(1.5, 5) * fs))
    add(y, impulse(rng, fs, kind), int(rng.uniform(0.2, 0.8) * (y.size - fs)))
    mics = microphones(rng, fs, room, place, int(rng.integers(2, 9)), 4.0)
    heard = hear(rng, [Source(kind, place, y)], mics, room, fs)
    heard = with_noise(rng, heard, fs, rng.uniform(*SNR[level]))
    return one_source(rng, heard, place, mics, fs), {}


@practice("single", "cut")
def single_cut(rng: Rng, fs: int, level: int, _: str) -> tuple[list[Lane], dict[str, Any]]:
    """The event alone, cut to 50 ms to 1 s, as before a take."""
    kind = str(rng.choice(["clap", "slate", "click", "balloon", "note", "stroke"]))
    room = room_for(rng, level)
    place = inside(rng, room)
    at = int(0.5 * fs)
    y = np.zeros(2 * fs)
    add(y, impulse(rng, fs, kind), at)
    mics = microphones(rng, fs, room, place, int(rng.integers(2, 9)), 3.0)
    heard = hear(rng, [Source(kind, place, y)], mics, room, fs)
    heard = with_noise(rng, heard, fs, rng.uniform(*SNR[level]))
    keep = float(np.exp(rng.uniform(np.log(0.05), np.log(1.0))))
    before = int(min(rng.uniform(0.005, 0.2), 0.3 * keep) * fs)
    return cut(one_source(rng, heard, place, mics, fs), at - before, at - before + int(keep * fs)), {}


@practice("single", "silence")
def single_silence(rng: Rng, fs: int, level: int, _: str) -> tuple[list[Lane], dict[str, Any]]:
    """The event cut short and set in digital silence, seconds of it before and behind."""
    lanes, sources = single_cut(rng, fs, level, "cut")
    before, behind = (np.zeros(int(rng.uniform(0.5, 6) * fs)) for _ in range(2))
    return [replace(x, samples=np.concatenate([before, x.samples, behind])) for x in lanes], sources


@practice("single", "talk")
def single_talk(rng: Rng, fs: int, level: int, _: str) -> tuple[list[Lane], dict[str, Any]]:
    """A slate before lanes that have nothing else in common: each its own speaker, close up."""
    room = Room((6.0, 5.0, 2.8), 0.2 + 0.1 * level)
    place = inside(rng, room)
    y = np.zeros(int(6 * fs))
    add(y, impulse(rng, fs, "slate"), int(rng.uniform(0.3, 1.0) * fs))
    mics = microphones(rng, fs, room, place, 3, 3.0)
    heard = hear(rng, [Source("slate", place, y)], mics, room, fs)
    for k in range(len(mics)):
        own = voice(rng, fs, y.size - 2 * fs)[0]
        heard[k, 2 * fs :] += own * np.max(np.abs(heard[k])) * rng.uniform(0.2, 0.8)
    heard = with_noise(rng, heard, fs, rng.uniform(*SNR[level]))
    return one_source(rng, heard, place, mics, fs), {}


@practice("array", "free", "room")
def line(rng: Rng, fs: int, level: int, where: str) -> tuple[list[Lane], dict[str, Any]]:
    """Eight microphones in a line, one impulse of 0.6 s."""
    room = None if where == "free" else Room((8.0, 6.0, 3.2), float(rng.uniform(0.2, 0.25 + 0.15 * level)))
    step = float(rng.uniform(0.04, 0.4))
    start = np.array([2.0, 1.0 + rng.uniform(0, 1), 1.3])
    turn = rng.uniform(-0.4, 0.4)
    along = np.array([np.cos(turn), np.sin(turn), 0.0])
    mics = [
        Microphone(f"line{k + 1}", tuple(start + k * step * along), sos=colour(rng, fs, much=1.0))
        for k in range(8)
    ]
    place = (float(rng.uniform(1.5, 6.5)), float(rng.uniform(3.0, 5.3)), float(rng.uniform(0.8, 1.9)))
    y = np.zeros(int(0.6 * fs))
    kind = str(rng.choice(["click", "clap", "balloon", "slate"]))
    add(y, impulse(rng, fs, kind), int(rng.uniform(0.02, 0.25) * fs))
    heard = hear(rng, [Source(kind, place, y)], mics, room, fs)
    heard = with_noise(rng, heard, fs, {1: 80.0, 2: 40.0, 3: 25.0}[level], shared=0.1)
    order = rng.permutation(8)
    return one_source(rng, heard[order], place, [mics[k] for k in order], fs), {}
