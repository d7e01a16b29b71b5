"""What never went through the air: pickups, a throat microphone, the line into an amplifier."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import signal
from tests.material.families.events import SNR
from tests.material.sounds import Rng, Samples, band, performance, voice
from tests.material.space import Microphone, Room, Source, colour, hear, lag
from tests.material.take import (
    Lane,
    body,
    finished,
    place_of,
    polarity_between,
    practice,
    through,
    with_noise,
)


def against_air(
    rng: Rng,
    fs: int,
    level: int,
    name: str,
    contact: Samples,
    air: Samples,
    contact_h: Samples,
    air_h: Samples,
    latency: float,
    contact_first: bool,
    reach: tuple[float, float],
) -> tuple[list[Lane], dict[str, Any]]:
    """A contact lane and two microphones; lags to accept lie between first sound and the responses' peaks."""
    room = Room((rng.uniform(3.5, 6), rng.uniform(3, 5), 2.7), rng.uniform(0.15, 0.2 + 0.12 * level))
    place = (room.size[0] / 2, 1.3, 1.2)
    mics = []
    for k, away in enumerate(np.exp(rng.uniform(np.log(reach[0]), np.log(reach[1]), 2))):
        ear = (place[0] + rng.uniform(-0.3, 0.3) * away, place[1] + away, place[2] + 0.2 * away)
        mics.append(
            Microphone(
                f"air{k + 1}",
                ear,
                tuple(np.subtract(place, ear)),
                0.5,
                int(rng.choice([1, 1, -1])),
                sos=colour(rng, fs),
            )
        )
    heard = with_noise(
        rng,
        hear(rng, [Source(name, place, through(air, air_h))], mics, room, fs),
        fs,
        float(rng.uniform(*SNR[level])) + 8,
    )
    touched = through(contact, contact_h)
    touched = np.concatenate([np.zeros(int(latency)), touched])[: touched.size]
    touched = with_noise(rng, touched[None, :], fs, 52 - 7 * level, 0.0)[0]
    flip = int(rng.choice([1, 1, -1]))
    paths = [lag(place, m, fs) for m in mics]
    sign = polarity_between(air_h, contact_h, air, place_of(0.0, air_h, contact_h, fs))
    with_contact = None if sign is None else sign * flip
    if contact_first:
        lanes = [Lane(name, flip * touched)]
        for m, x, p in zip(mics, heard, paths, strict=True):
            at = p - latency
            pol = None if with_contact is None else with_contact * m.polarity
            lanes.append(Lane(m.name, x, at, pol, accept=place_of(at, contact_h, air_h, fs)))
    else:
        lanes = [
            Lane(m.name, x, p - paths[0], m.polarity * mics[0].polarity)
            for m, x, p in zip(mics, heard, paths, strict=True)
        ]
        at = latency - paths[0]
        pol = None if with_contact is None else with_contact * mics[0].polarity
        lanes.append(Lane(name, flip * touched, at, pol, accept=place_of(at, air_h, contact_h, fs)))
    return finished(rng, lanes), {}


@practice("contact", "guitar", "bass", "violin", "cello")
def pickup(rng: Rng, fs: int, level: int, kind: str) -> tuple[list[Lane], dict[str, Any]]:
    """A piezo under the bridge: the string's force through resonances of its own."""
    force = performance(rng, fs, int(rng.uniform(5, 9) * fs), kind)
    wood = body(rng, fs, 12, 90, 3500, None, 5.0 + 3 * level)
    piezo = body(rng, fs, 8, 200, 6000, None if level == 1 else 10000.0, 4.0 + 3 * level)
    return against_air(
        rng, fs, level, "piezo", force, force, piezo, wood, 0.0, bool(rng.random() < 0.5), (0.2, 1.0)
    )


@practice("throat", "speech", "singing")
def throat(rng: Rng, fs: int, level: int, how: str) -> tuple[list[Lane], dict[str, Any]]:
    """A throat microphone hears the glottis through the neck; 17 cm of vocal tract lie before the mouth."""
    frames = int(rng.uniform(5, 9) * fs)
    mouth, glottis = voice(rng, fs, frames, sung=how == "singing")
    neck = body(rng, fs, 5, 120, 1500, (4500.0, 3000.0, 2200.0)[level - 1], 8.0)
    tract = 0.17 / 343.2 * fs
    mouth = np.concatenate([np.zeros(round(tract)), mouth])[:frames]
    lips = np.zeros(256)
    lips[0] = 1.0
    lanes, sources = against_air(
        rng, fs, level, "throat", glottis, mouth, neck, lips, 0.0, bool(rng.random() < 0.3), (0.03, 0.5)
    )
    out = []
    # The tract belongs to the air lanes' path; whether it counts, and the formants' delay, open the range.
    ringing = 0.0004 * fs
    for lane in lanes:
        if lane.accept is None or lane.offset is None:
            out.append(lane)
            continue
        late = tract + ringing
        low, high = (-late, 0.0) if lane.name == "throat" else (0.0, late)
        middle = lane.offset + (tract if high else -tract)
        accept = (lane.accept[0] + low, lane.accept[1] + high)
        out.append(Lane(lane.name, lane.samples, middle, None, accept=accept))
    return out, sources


def cabinet(rng: Rng, fs: int, level: int) -> Samples:
    ceiling = float(rng.choice([6500.0, 5500.0, 4500.0][:level]))
    return body(rng, fs, 9, 80, 4000, ceiling, 6.0 + 2 * level)


@practice("amp", "clean", "driven", "bass")
def amplified(rng: Rng, fs: int, level: int, how: str) -> tuple[list[Lane], dict[str, Any]]:
    """The direct line of a guitar or bass against microphones before its cabinet."""
    played = performance(rng, fs, int(rng.uniform(5, 9) * fs), "bass" if how == "bass" else "guitar")
    line = played
    if how == "driven":
        fed = band(played, 120, None, fs, 1)
        driven = np.tanh(fed / np.std(fed) * rng.uniform(1.0, 2.0 + 2 * level) + 0.1)
    else:
        driven = played
    box = cabinet(rng, fs, level)
    straight = body(rng, fs, 1, 200, 4000, None, 2.0)
    latency = float(rng.choice([0.0, 0.0, 37.0, 64.0, 128.0, 203.0]))
    return against_air(
        rng, fs, level, "direct", line, driven, straight, box, latency, bool(rng.random() < 0.5), (0.02, 0.9)
    )


@practice("contact", "trigger")
def trigger(rng: Rng, fs: int, level: int, _: str) -> tuple[list[Lane], dict[str, Any]]:
    """A contact microphone on a drum's shell against air."""
    from tests.material.families.kits import strokes
    from tests.material.sounds import add, snare

    frames = int(7 * fs)
    air, shell = np.zeros(frames), np.zeros(frames)
    kinds = [snare(rng, fs)[0] for _ in range(3)]
    for at, _, gain in strokes(rng, 7.0, "snare"):
        stroke = kinds[int(rng.integers(3))]
        add(air, stroke[0] + 0.3 * stroke[2], int(at * fs), gain)
        add(shell, stroke[0] - 0.4 * stroke[3], int(at * fs), gain)
    wood = body(rng, fs, 6, 300, 5000, None if level < 3 else 8000.0, 4.0 + 2 * level)
    flat = signal.unit_impulse(256)
    return against_air(
        rng, fs, level, "trigger", shell, air, wood, flat, 0.0, bool(rng.random() < 0.5), (0.1, 1.5)
    )
