"""Several players in a room, spots and a main pair; and the close, far and direct trio of one player."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from tests.material.families.events import SNR
from tests.material.sounds import Rng, performance, voice
from tests.material.space import Microphone, Room, Source, colour, hear, hear_apart
from tests.material.take import (
    Lane,
    body,
    finished,
    one_source,
    place_of,
    practice,
    several_sources,
    through,
    with_noise,
)

BANDS = {
    "strings": ["violin", "violin", "cello", "cello"],
    "winds": ["flute", "clarinet", "brass", "tuba", "sax"],
    "folk": ["guitar", "voice", "bass", "violin"],
    "voices": ["voice", "voice", "voice"],
}


@practice("ensemble", *BANDS)
def ensemble(rng: Rng, fs: int, level: int, band: str) -> tuple[list[Lane], dict[str, Any]]:
    """3 to 6 players, each with a spot half a metre off; the main pair is the anchor."""
    seconds = rng.uniform(6, 10)
    frames = int(seconds * fs)
    room = Room((rng.uniform(7, 11), rng.uniform(6, 9), rng.uniform(3, 5)), 0.3 + 0.2 * level)
    players = list(rng.permutation(BANDS[band]))[: int(rng.integers(3, 7))]
    arc = np.linspace(-1.0, 1.0, len(players))
    centre = np.array([room.size[0] / 2, 1.6, 0.0])
    radius = rng.uniform(1.2, 2.2)
    sources, mics, own = [], [], {}
    main = centre + np.array([0, radius + 1.2, 1.9])
    for side, name in ((-1, "main_l"), (1, "main_r")):
        place = tuple(main + np.array([side * rng.uniform(0.1, 0.3), 0, 0]))
        mics.append(Microphone(name, place, (side * 0.5, -1.0, -0.4), 0.5, sos=colour(rng, fs)))
    for k, (kind, x) in enumerate(zip(players, arc, strict=True)):
        place = centre + np.array([radius * x, radius * (1 - np.cos(x)) * 0.6, rng.uniform(0.9, 1.5)])
        name = f"{kind}{k + 1}"
        part = voice(rng, fs, frames, sung=True)[0] if kind == "voice" else performance(rng, fs, frames, kind)
        sources.append(Source(name, tuple(place), part * 10 ** (rng.uniform(-8, 0) / 20)))
        away = rng.standard_normal(3) * [0.6, 0.5, 0.4] + [0, 0.8, 0.3]
        spot = place + away / np.linalg.norm(away) * rng.uniform(0.2, 0.7)
        spot = np.clip(spot, 0.15, np.array(room.size) - 0.15)
        polarity = int(rng.choice([1, 1, 1, -1]))
        mics.append(
            Microphone(f"spot_{name}", tuple(spot), tuple(place - spot), 0.5, polarity, sos=colour(rng, fs))
        )
        own[f"spot_{name}"] = name
    sound, levels = hear_apart(rng, sources, mics, room, fs)
    heard = with_noise(rng, sound, fs, {1: 60.0, 2: 48.0, 3: 34.0}[level])
    order = sorted(sources, key=lambda s: -float(np.sum(s.signal**2)))
    return several_sources(rng, heard, sources, mics, own, fs, [s.name for s in order], levels)


@practice("trio", "guitar", "bass", "violin", "cello")
def trio(rng: Rng, fs: int, level: int, kind: str) -> tuple[list[Lane], dict[str, Any]]:
    """One player: a close microphone at 0.3 m, another at 0.75 m, and the direct line of the pickup."""
    frames = int(rng.uniform(5, 9) * fs)
    room = Room((rng.uniform(3.5, 6), rng.uniform(3, 5), 2.6), rng.uniform(0.15, 0.2 + 0.1 * level))
    place = np.array([room.size[0] / 2, 1.2, 0.9])
    force = performance(rng, fs, frames, kind)
    wood = body(rng, fs, 10, 90, 3000, None, 6.0 + 2 * level)
    pickup = body(rng, fs, 6, 70, 4000, None if level < 3 else 9000.0, 4.0 + 2 * level)
    mics = []
    for name, away in (("close", rng.uniform(0.25, 0.35)), ("far", rng.uniform(0.65, 0.85))):
        ear = place + np.array([rng.uniform(-0.3, 0.3), 1.0, 0.2]) * away
        polarity = int(rng.choice([1, 1, 1, -1]))
        mics.append(Microphone(name, tuple(ear), tuple(place - ear), 0.5, polarity, sos=colour(rng, fs)))
    heard = hear(rng, [Source(kind, tuple(place), through(force, wood))], mics, room, fs)
    lanes = one_source(rng, with_noise(rng, heard, fs, rng.uniform(*SNR[level]) + 10), tuple(place), mics, fs)
    path = float(np.linalg.norm(np.array(mics[0].place) - place)) / 343.2 * fs
    latency = float(rng.choice([0.0, 0.0, 32.0, 64.0, 103.0]))
    flip = int(rng.choice([1, 1, -1]))
    direct = np.concatenate([np.zeros(int(latency)), flip * through(force, pickup)])[:frames]
    direct = with_noise(rng, direct[None, :], fs, 55 - 8 * level, 0.0)[0]
    at = latency - path
    line = Lane("direct", direct, at, flip * mics[0].polarity, accept=place_of(at, wood, pickup, fs))
    return [*lanes, *finished(rng, [line])], {}


@practice("trio", "far_first")
def far_first(rng: Rng, fs: int, level: int, _: str) -> tuple[list[Lane], dict[str, Any]]:
    """The same, the direct line as the anchor."""
    lanes, _sources = trio(rng, fs, level, str(rng.choice(["guitar", "bass", "cello"])))
    line, rest = lanes[-1], lanes[:-1]
    assert line.offset is not None and line.accept is not None
    low, high = line.offset - line.accept[0], line.accept[1] - line.offset
    first = replace(line, offset=0.0, polarity=1, accept=None)
    out = [first]
    for x in rest:
        assert x.offset is not None
        at = x.offset - line.offset
        polarity = (x.polarity or 1) * (line.polarity or 1)
        out.append(replace(x, offset=at, polarity=polarity, accept=(at - high, at + low)))
    return out, {}
