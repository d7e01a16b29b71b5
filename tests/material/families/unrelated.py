"""Lanes with nothing of the performance in common, however alike they look; one companion lane matches."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import signal
from tests.material.families.apart import material
from tests.material.families.events import SNR, inside, microphones
from tests.material.families.kits import played, strokes
from tests.material.sounds import LOWEST, Rng, Samples, add, hum, new_score, performance, pink
from tests.material.space import Room, Source, delayed, hear
from tests.material.take import Lane, finished, loud, one_source, practice, with_noise


def in_its_room(rng: Rng, fs: int, level: int, y: Samples, count: int) -> list[Lane]:
    room = Room((rng.uniform(4, 7), rng.uniform(3.5, 6), 2.8), 0.2 + 0.1 * level)
    place = inside(rng, room)
    mics = microphones(rng, fs, room, place, count, 1.5)
    heard = with_noise(
        rng, hear(rng, [Source("it", place, y)], mics, room, fs), fs, float(rng.uniform(*SNR[level])) + 5
    )
    return one_source(rng, heard, place, mics, fs)


def together(rng: Rng, here: list[Lane], there: list[Lane]) -> tuple[list[Lane], dict[str, Any]]:
    out = list(here)
    for k, lane in enumerate(there):
        out.append(Lane(f"other{k + 1}", lane.samples, None, None, match=False))
    return finished(rng, out), {}


def with_common(lanes: list[Lane], shared: list[Samples], level_db: float, fs: int) -> list[Lane]:
    from dataclasses import replace

    return [
        replace(
            x, samples=x.samples + s / (loud(s, fs) + 1e-12) * loud(x.samples, fs) * 10 ** (level_db / 20)
        )
        for x, s in zip(lanes, shared, strict=True)
    ]


@practice("unrelated", "songs", "hum", "ventilation", "click")
def songs(rng: Rng, fs: int, level: int, what: str) -> tuple[list[Lane], dict[str, Any]]:
    """Two performances; in both the same mains hum, the same ventilation, or the headphones' click."""
    frames = int(rng.uniform(6, 10) * fs)
    kinds = ["drums", "speech", "music"]
    here = in_its_room(rng, fs, level, material(rng, fs, frames, str(rng.choice(kinds))), 2)
    there = in_its_room(
        rng, fs, level, material(rng, fs, frames, str(rng.choice(kinds))), int(rng.integers(1, 3))
    )
    lanes, sources = together(rng, here, there)
    much = {1: -40.0, 2: -30.0, 3: -20.0}[level]
    if what == "hum":
        lanes = with_common(
            lanes, [hum(rng, fs, frames, float(rng.choice([50, 60])))] * len(lanes), much + 6, fs
        )
    elif what == "ventilation":  # one fan, heard round many corners: common only where it is low
        fan = pink(rng, frames, fs, 20, 2.0)
        tails = [
            rng.standard_normal(int(0.3 * fs)) * np.exp(-np.arange(int(0.3 * fs)) / (0.06 * fs))
            for _ in lanes
        ]
        lanes = with_common(lanes, [signal.fftconvolve(fan, h)[:frames] for h in tails], much, fs)
    elif what == "click":
        tick = np.zeros(frames)
        beat = 60 / rng.uniform(80, 140)
        pip = np.sin(2 * np.pi * 1500 * np.arange(int(0.02 * fs)) / fs) * np.exp(
            -np.arange(int(0.02 * fs)) / (0.005 * fs)
        )
        for k in range(int(frames / fs / beat)):
            add(tick, pip, int((0.1 + k * beat) * fs))
        lanes = with_common(lanes, [delayed(tick, float(rng.uniform(0, 60))) for _ in lanes], much - 6, fs)
    return lanes, sources


@practice("unrelated", "take2", "drum_take2", "doubled")
def again(rng: Rng, fs: int, level: int, what: str) -> tuple[list[Lane], dict[str, Any]]:
    """The same song once more to the same click, or doubled by the same player: alike, not the same."""
    frames = int(rng.uniform(6, 10) * fs)
    loose = {1: 0.025, 2: 0.015, 3: 0.008}[level]
    if what == "drum_take2":
        events = strokes(rng, frames / fs, "groove")

        def sound(rows: list[tuple[float, str, float]]) -> Samples:
            lines = played(rng, fs, frames, rows)
            y = sum(line[0] if line.ndim == 2 else line for line in lines.values())
            return y / np.max(np.abs(y))

        moved = [
            (max(0.06, at + float(rng.normal(0, loose))), n, g * 10 ** (rng.uniform(-3, 3) / 20))
            for at, n, g in events
        ]
        first, second = sound(events), sound(moved)
    else:
        kind = str(rng.choice([k for k in LOWEST if k != "voice"]))
        score = new_score(rng, frames / fs, kind, tempo=float(rng.uniform(90, 130)))
        again_ = [(max(0.05, at + float(rng.normal(0, loose))), s, f) for at, s, f in score]
        first, second = performance(rng, fs, frames, kind, score), performance(rng, fs, frames, kind, again_)
    here = in_its_room(rng, fs, level, first, 2)
    there = in_its_room(rng, fs, level, second, 1)
    return together(rng, here, there)


@practice("unrelated", "events", "noises")
def alone(rng: Rng, fs: int, level: int, what: str) -> tuple[list[Lane], dict[str, Any]]:
    """One clap in one lane, another thing's stroke in the other; or rooms with nobody in them."""
    from tests.material.sounds import impulse

    frames = int(2.5 * fs)
    if what == "noises":
        lanes = [
            Lane(f"room{k + 1}", pink(rng, frames, fs, 20, 1.5), None, None, match=k == 0) for k in range(3)
        ]
        return finished(rng, [Lane("room1", lanes[0].samples), *lanes[1:]]), {}
    ys = []
    for kind in rng.permutation(["clap", "slate", "balloon", "note", "stroke"])[:2]:
        y = np.zeros(frames)
        add(y, impulse(rng, fs, str(kind)), int(rng.uniform(0.3, 1.6) * fs))
        ys.append(y)
    return together(rng, in_its_room(rng, fs, level, ys[0], 2), in_its_room(rng, fs, level, ys[1], 1))
