"""Nearly periodic sounds, and a voice no louder than the noise about it."""

from __future__ import annotations

from typing import Any

import numpy as np
from tests.material.families.events import SNR, inside, microphones, room_for
from tests.material.sounds import LOWEST, Rng, add, pink, pluck, tone, voice
from tests.material.space import Source, hear
from tests.material.take import Lane, loud, one_source, practice, with_noise


@practice("periodic", "sustained", "tremolo", "sequence", "organ")
def periodic(rng: Rng, fs: int, level: int, how: str) -> tuple[list[Lane], dict[str, Any]]:
    """Long notes, a tremolo, the same note at a machine's pace, a chord held: many lags look nearly alike."""
    frames = int(rng.uniform(5, 9) * fs)
    y = np.zeros(frames)
    seconds = frames / fs
    if how == "sustained":
        kind = str(rng.choice(["cello", "clarinet", "brass", "flute"]))
        at = 0.2
        while at < seconds - 1:
            long = rng.uniform(1.5, 3.0)
            f0 = LOWEST[kind] * 2 ** (rng.integers(0, 15) / 12)
            add(
                y,
                tone(rng, fs, f0, long, attack=0.15, tilt=1.2, breath=0.03 / level, vibrato=0.4),
                int(at * fs),
            )
            at += long - 0.05
    elif how == "tremolo":
        rate, f0 = rng.uniform(8, 14), rng.uniform(147, 440)
        pick = [pluck(rng, fs, f0, 0.15) for _ in range(4 if level < 3 else 2)]
        wobble = 0.004 / level
        for k in range(int((seconds - 0.4) * rate)):
            add(
                y,
                pick[k % len(pick)],
                int((0.1 + k / rate + rng.normal(0, wobble)) * fs),
                10 ** (rng.uniform(-3, 0) / 20),
            )
    elif how == "sequence":
        step = 60 / rng.uniform(100, 150) / 4
        sound = [pluck(rng, fs, f, 0.2, 0.7) for f in (110, 165, 220, 131)]
        order = rng.integers(0, 4, 8)
        for k in range(int((seconds - 0.4) / step)):
            add(y, sound[order[k % 8]], int((0.1 + k * step) * fs))
    else:
        t = np.arange(frames) / fs
        for f0 in rng.uniform(130, 260) * np.array([1, 1.25, 1.5, 2.0]):
            for k in (1, 2, 3, 4, 6, 8):
                y += np.sin(2 * np.pi * f0 * k * t * (1 + rng.normal(0, 2e-4)) + rng.uniform(0, 6.28)) / k
        y *= np.clip(t / 0.05, 0, 1) * np.clip((seconds - 0.3 - t) / 0.1, 0, 1)
        y += 0.01 / level * np.std(y) * pink(rng, frames, fs)
    room = room_for(rng, level)
    place = inside(rng, room)
    mics = microphones(rng, fs, room, place, int(rng.integers(2, 5)), 2.5)
    heard = hear(rng, [Source(how, place, y / np.max(np.abs(y)))], mics, room, fs)
    return one_source(
        rng, with_noise(rng, heard, fs, float(rng.uniform(*SNR[level])) + 8), place, mics, fs
    ), {}


@practice("voice0", "hiss", "street", "babble")
def voice_in_noise(rng: Rng, fs: int, level: int, what: str) -> tuple[list[Lane], dict[str, Any]]:
    """A speaker 6, 3 or 0 dB over noise that differs from lane to lane, or comes from several places."""
    frames = int(rng.uniform(6, 9) * fs)
    room = room_for(rng, level, 0.3)
    place = inside(rng, room)
    mics = microphones(rng, fs, room, place, 3, 2.0)
    heard = hear(rng, [Source("voice", place, voice(rng, fs, frames)[0])], mics, room, fs)
    target = {1: 6.0, 2: 3.0, 3: 0.0}[level]
    out = []
    for x in heard:
        if what == "hiss":
            noise = pink(rng, frames, fs)
        elif what == "street":
            noise = pink(rng, frames, fs, 40, 1.7) * (
                1 + 0.7 * np.interp(np.arange(frames), np.linspace(0, frames, 9), rng.uniform(-1, 1, 9))
            )
        else:
            noise = sum(voice(rng, fs, frames)[0] for _ in range(4)) + 0.01 * pink(rng, frames, fs)
        out.append(x + noise / np.std(noise) * loud(x, fs) * 10 ** (-target / 20))
    return one_source(rng, np.stack(out), place, mics, fs), {}
