"""Lanes on clocks of their own: started apart, drifting; and a source that walks."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from scipy import signal
from tests.material.families.events import SNR, inside, microphones, room_for
from tests.material.families.kits import LOUD, played, strokes
from tests.material.sounds import Rng, Samples, band, performance, voice
from tests.material.space import SPEED, Source, colour, hear, warped
from tests.material.take import Lane, loud, one_source, practice, with_noise


def material(rng: Rng, fs: int, frames: int, what: str) -> Samples:
    if what == "drums":
        lines = played(rng, fs, frames, strokes(rng, frames / fs, "groove"))
        y = sum(line[0] if line.ndim == 2 else line for line in lines.values())
        return y / np.max(np.abs(y)) / max(LOUD.values())
    if what == "speech":
        return voice(rng, fs, frames)[0]
    return performance(rng, fs, frames, str(rng.choice(["guitar", "piano", "violin", "sax", "brass"])))


@practice("far", "drums", "speech", "music")
def far_start(rng: Rng, fs: int, level: int, what: str) -> tuple[list[Lane], dict[str, Any]]:
    """Recorders started seconds to a minute apart: what came before is another sound at the same place."""
    frames = int(rng.uniform(8, 12) * fs)
    room = room_for(rng, level)
    place = inside(rng, room)
    mics = microphones(rng, fs, room, place, int(rng.integers(2, 4)), 2.5)
    longest = {1: 8.0, 2: 25.0, 3: 60.0}[level]
    early = int(rng.uniform(0.4, 1.0) * longest * fs)
    y = np.zeros(early + frames)
    y[early:] = material(rng, fs, frames, what)
    some = min(early, int(4 * fs))  # a few seconds of warming up, then quiet
    y[:some] += 0.3 * material(rng, fs, some, what) if some > 2 * fs else 0.0
    heard = hear(rng, [Source(what, place, y)], mics, room, fs)
    lanes = one_source(rng, with_noise(rng, heard, fs, float(rng.uniform(*SNR[level])) + 5), place, mics, fs)
    whole = int(
        rng.integers(len(lanes))
    )  # one lane runs from the start, the others begin before the performance
    starts = [
        0 if k == whole else early - int(rng.uniform(0.05, 0.4) * fs) + int(rng.uniform(0, 1.0) * fs)
        for k in range(len(lanes))
    ]
    starts = [min(s, early + fs) for s in starts]
    out = []
    for lane, start in zip(lanes, starts, strict=True):
        assert lane.offset is not None
        out.append(replace(lane, samples=lane.samples[start:], offset=lane.offset - (start - starts[0])))
    return out, {}


@practice("drift", "drums", "speech", "music")
def drifting(rng: Rng, fs: int, level: int, what: str) -> tuple[list[Lane], dict[str, Any]]:
    """Every lane but the first on a clock of its own, up to 20, 60 or 120 ppm off."""
    frames = int(rng.uniform(9, 14) * fs)
    room = room_for(rng, level)
    place = inside(rng, room)
    mics = microphones(rng, fs, room, place, int(rng.integers(2, 4)), 2.0)
    heard = hear(rng, [Source(what, place, material(rng, fs, frames, what))], mics, room, fs)
    lanes = one_source(rng, with_noise(rng, heard, fs, float(rng.uniform(*SNR[level])) + 5), place, mics, fs)
    out = [lanes[0]]
    n = np.arange(frames)
    for lane in lanes[1:]:
        assert lane.offset is not None
        ppm = float(rng.choice([-1, 1]) * rng.uniform(5, {1: 20, 2: 60, 3: 120}[level]))
        slow = 1 + ppm * 1e-6  # what happens at anchor frame n lands at n * slow
        out.append(
            replace(lane, samples=warped(lane.samples, n / slow), drift_ppm=ppm, offset=lane.offset * slow)
        )
    return out, {}


@practice("move", "walk", "sway")
def moving(rng: Rng, fs: int, level: int, how: str) -> tuple[list[Lane], dict[str, Any]]:
    """A source that walks past the microphones, or sways before them; free field with a floor."""
    frames = int(rng.uniform(6, 10) * fs)
    y = material(rng, fs, frames, str(rng.choice(["speech", "music"])))
    t = np.arange(frames) / fs
    if how == "walk":
        at, end = rng.uniform(-1.5, -0.5), rng.uniform(0.3, 0.3 + 0.5 * level)
        x = at + (end - at) * t / t[-1]
    else:
        x = rng.uniform(0.03, 0.05 + 0.08 * level) * np.sin(
            2 * np.pi * rng.uniform(0.15, 0.5) * t + rng.uniform(0, 6.28)
        )
    ears = [
        np.array([rng.uniform(-1, 1), rng.uniform(0.4, 2.0), 1.4]) for _ in range(int(rng.integers(2, 4)))
    ]
    heard, paths = [], []
    for ear in ears:
        d = np.sqrt((x - ear[0]) ** 2 + ear[1] ** 2)
        floor = np.sqrt(d**2 + 2.8**2)
        direct = warped(y / 1.0, np.arange(frames) - d / SPEED * fs) / d
        bounce = band(warped(y, np.arange(frames) - floor / SPEED * fs), None, 4000, fs, 1) / floor
        heard.append(signal.sosfilt(colour(rng, fs), direct + 0.5 * bounce))
        paths.append(d / SPEED * fs)
    noisy = with_noise(rng, np.stack(heard), fs, float(rng.uniform(*SNR[level])) + 5)
    active = np.array(
        [loud(y[k : k + fs // 4], fs) > 0.05 * loud(y, fs) for k in range(0, frames - fs // 4, fs // 4)]
    )
    from tests.material.take import finished

    lanes = [Lane("mic1", noisy[0])]
    for k in range(1, len(ears)):
        course = paths[k] - paths[0]
        heard_at = course[: active.size * (fs // 4)][np.repeat(active, fs // 4)]
        accept = (float(heard_at.min()) - 1, float(heard_at.max()) + 1)
        lanes.append(Lane(f"mic{k + 1}", noisy[k], float(np.median(heard_at)), 1, accept=accept))
    return finished(rng, lanes), {}
