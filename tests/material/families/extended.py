"""Instruments larger than their distance to the microphones: what is heard comes from several places."""

from __future__ import annotations

from typing import Any

import numpy as np
from tests.material.families.events import SNR
from tests.material.sounds import Rng, add, band, new_score, note
from tests.material.space import Microphone, Room, Source, colour, hear, lag
from tests.material.take import Lane, body, finished, practice, through, with_noise


def spread_truth(rng: Rng, heard: Any, sources: list[Source], mics: list[Microphone], fs: int) -> list[Lane]:
    """Accept the span of the lags of all radiating places and of the first sounds; 1 frame of margin."""
    lanes = []
    weights = np.array([np.sum(s.signal**2) for s in sources])
    for m, x in zip(mics, heard, strict=True):
        lags = np.array([lag(s.place, m, fs) - lag(s.place, mics[0], fs) for s in sources])
        firsts = min(lag(s.place, m, fs) for s in sources) - min(lag(s.place, mics[0], fs) for s in sources)
        near = np.array([1 / np.linalg.norm(np.subtract(s.place, m.place)) for s in sources])
        middle = float(np.average(lags, weights=weights * near**2))
        accept = (float(min(lags.min(), firsts)) - 1, float(max(lags.max(), firsts)) + 1)
        polarity = m.polarity * mics[0].polarity
        wide = accept[1] - accept[0] > 0.0015 * fs
        if m is mics[0]:
            lanes.append(Lane(m.name, x))
        else:
            lanes.append(Lane(m.name, x, middle, None if wide else polarity, accept=accept))
    return finished(rng, lanes)


@practice("extended", "piano", "piano_note")
def piano(rng: Rng, fs: int, level: int, how: str) -> tuple[list[Lane], dict[str, Any]]:
    """Strings along a metre of bridge, by pitch, or one note; a close pair over them and a far pair."""
    frames = int(rng.uniform(5, 8) * fs)
    room = Room((rng.uniform(5, 9), rng.uniform(5, 8), 3.2), 0.25 + 0.15 * level)
    foot = np.array([room.size[0] / 2, 1.2, 0.95])
    if how == "piano_note":
        frames = int(3.0 * fs)
        score = [(0.4, 1.2, float(261.6 * 2 ** (rng.integers(-18, 20) / 12)))]
    else:
        score = new_score(rng, frames / fs, "piano")
    octaves = sorted({round(np.log2(f / 131) * 2) for _, _, f in score})
    lines = {o: np.zeros(frames) for o in octaves}
    for start, seconds, f in score:
        gain = 10 ** (rng.uniform(-9, 0) / 20)
        add(lines[round(np.log2(f / 131) * 2)], note(rng, fs, "piano", f, seconds), int(start * fs), gain)
    sources = []
    for o in octaves:  # bass strings to the left; the board answers below, later and duller, from its middle
        x = float(np.clip(-0.5 + 0.16 * o, -0.6, 0.7))
        place = tuple(foot + np.array([x, 0.25 + 0.1 * o / 6, 0.0]))
        sources.append(Source(f"strings{o}", place, lines[o]))
    board = through(sum(lines.values()), body(rng, fs, 10, 80, 1200, 2500.0, 6.0))
    sources.append(Source("board", tuple(foot + np.array([0, 0.6, -0.1])), 0.35 * board))
    high = rng.uniform(0.15, 0.4)
    spots = {
        "close_l": foot + np.array([-0.35, 0.3, high]),
        "close_r": foot + np.array([0.4, 0.3, high]),
        "far_l": foot + np.array([-0.4, rng.uniform(2.2, 3.2), 0.7]),
        "far_r": foot + np.array([0.4, rng.uniform(2.2, 3.2), 0.7]),
    }
    mics = [
        Microphone(n, tuple(p), (0.0, -0.3, -1.0), 0.5 if n[0] == "c" else 0.0, sos=colour(rng, fs))
        for n, p in spots.items()
    ]
    heard = with_noise(rng, hear(rng, sources, mics, room, fs), fs, float(rng.uniform(*SNR[level])) + 10)
    return spread_truth(rng, heard, sources, mics, fs), {}


@practice("extended", "guitar")
def guitar(rng: Rng, fs: int, level: int, _: str) -> tuple[list[Lane], dict[str, Any]]:
    """Bridge, top, sound hole, neck: places with responses of their own; microphones at 15 to 60 cm."""
    frames = int(rng.uniform(5, 9) * fs)
    room = Room((rng.uniform(3.5, 6), rng.uniform(3, 5), 2.7), 0.15 + 0.12 * level)
    foot = np.array([room.size[0] / 2, 1.2, 0.9])
    score = new_score(rng, frames / fs, "guitar")
    force = np.zeros(frames)
    for start, seconds, f in score:
        add(force, note(rng, fs, "guitar", f, seconds), int(start * fs), 10 ** (rng.uniform(-9, 0) / 20))
    sources = [
        Source("bridge", tuple(foot), 0.5 * band(force, 500, None, fs, 1)),
        Source(
            "top",
            tuple(foot + np.array([-0.08, 0, -0.03])),
            through(force, body(rng, fs, 8, 180, 1500, 4000.0, 8.0)),
        ),
        Source(
            "hole",
            tuple(foot + np.array([0.14, 0, 0.0])),
            0.7 * through(force, body(rng, fs, 2, 90, 220, 500.0, 8.0)),
        ),
        Source("neck", tuple(foot + np.array([0.5, 0, 0.05])), 0.15 * band(force, 1500, None, fs, 1)),
    ]
    mics = []
    for k, at in enumerate(([0.45, 0.2, 0.05], [-0.15, 0.3, 0.05], [0.1, 0.6, 0.35])):
        ear = foot + np.array(at) * rng.uniform(0.8, 1.3)
        mics.append(Microphone(f"mic{k + 1}", tuple(ear), tuple(foot - ear), 0.5, sos=colour(rng, fs)))
    heard = with_noise(rng, hear(rng, sources, mics, room, fs), fs, float(rng.uniform(*SNR[level])) + 10)
    return spread_truth(rng, heard, sources, mics, fs), {}


@practice("extended", "sax", "tuba")
def horn(rng: Rng, fs: int, level: int, kind: str) -> tuple[list[Lane], dict[str, Any]]:
    """Two microphones: low notes come from the bell, a saxophone's high notes from open holes above."""
    frames = int(rng.uniform(5, 9) * fs)
    room = Room((rng.uniform(3.5, 7), rng.uniform(3.5, 6), 2.8), 0.15 + 0.15 * level)
    foot = np.array([room.size[0] / 2, 1.3, 0.8 if kind == "sax" else 1.4])
    places = {
        "bell": foot,
        "low_holes": foot + np.array([0, -0.05, 0.18]),
        "high_holes": foot + np.array([0, -0.1, 0.38]),
    }
    if kind == "tuba":
        places = {"bell": foot, "rim": foot + np.array([0.18, 0, 0])}
    lines = {n: np.zeros(frames) for n in places}
    for start, seconds, f in new_score(rng, frames / fs, kind):
        y = note(rng, fs, kind, f, seconds if kind == "sax" else min(seconds, 0.3))
        gain = 10 ** (rng.uniform(-9, 0) / 20)
        share = {"bell": 1.0}
        if kind == "sax" and f > 220:
            share = {"bell": 0.4, "low_holes": 1.0} if f < 330 else {"bell": 0.3, "high_holes": 1.0}
        elif kind == "tuba":
            share = {"bell": 1.0, "rim": 0.3}
        for n, g in share.items():
            add(lines[n], y, int(start * fs), gain * g)
    sources = [Source(n, tuple(places[n]), y) for n, y in lines.items() if np.any(y)]
    mics = []
    for k, away in enumerate(np.exp(rng.uniform(np.log(0.15), np.log(1.2), 2))):
        up = rng.uniform(-0.2, 0.4)
        ear = (
            foot + np.array([rng.uniform(-0.2, 0.2), away, up])
            if kind == "sax"
            else foot + np.array([0.2 * k, 0.3 * away, away])
        )
        ear = np.minimum(ear, np.array(room.size) - 0.15)
        mics.append(
            Microphone(
                ("condenser", "dynamic")[k], tuple(ear), tuple(foot - ear), 0.5 * k, sos=colour(rng, fs)
            )
        )
    heard = with_noise(rng, hear(rng, sources, mics, room, fs), fs, float(rng.uniform(*SNR[level])) + 10)
    return spread_truth(rng, heard, sources, mics, fs), {}
