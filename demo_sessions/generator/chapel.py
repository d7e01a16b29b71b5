"""The chapel take: a hammered string instrument plays an invented tune in a stone chapel.

Four lanes: two microphones close to the board, one far down the nave, and a contact pickup under the
bridge, wired the wrong way round, whose digital radio link delays it by a fixed time.
"""

from __future__ import annotations

import numpy as np
from scipy.signal import fftconvolve

from generator.microphones import LARGE_CONDENSER, OLD_CONDENSER, PIEZO, SMALL_CONDENSER
from generator.modal import hiss, soundboard, string_course, struck
from generator.noise import Signal, spread
from generator.room import Ear, Room
from generator.scene import Instrument, LanePlan, Scene

SEED = 4107
BOARD = (3.6, 4.3, 0.95)

SCENE = Scene(
    name="chapel",
    title="Hammered strings in a chapel",
    room=Room(
        size_m=(15.5, 8.6, 7.8), rt60_s=(1.9, 2.0, 1.9, 1.75, 1.5, 1.15, 0.75, 0.45), temperature_c=16.0
    ),
    instruments=(Instrument("strings", BOARD, 0.30),),
    lanes=(
        LanePlan(
            "near_left",
            "strings",
            LARGE_CONDENSER,
            0.0072,
            Ear((3.98, 4.62, 1.42), BOARD, 0.5),
            gain_db=-3.0,
            pan=-0.7,
            note="Cardioid, over the bass strings",
        ),
        LanePlan(
            "near_right",
            "strings",
            SMALL_CONDENSER,
            0.0072,
            Ear((3.90, 3.87, 1.28), BOARD, 0.5),
            gain_db=-3.0,
            pan=0.7,
            note="Cardioid, over the treble strings",
        ),
        LanePlan(
            "far",
            "strings",
            OLD_CONDENSER,
            0.028,
            Ear((9.72, 4.75, 2.35), BOARD, 0.5),
            gain_db=-2.0,
            note="Cardioid, down the nave",
        ),
        LanePlan(
            "pickup",
            "strings",
            PIEZO,
            0.0072,
            polarity=-1,
            latency_samples=211.6,
            gain_db=-8.0,
            note="Contact pickup under the bridge, inverted; its radio link takes 211.6 samples (4.408 ms)",
        ),
    ),
    seconds=18.5,
    reverb_s=2.2,
    seed=SEED,
    notes=(
        "One place on the board sounds for all lanes; sides of the board differ in level and colour, "
        "not in time. Arrival = (distance to the lane - distance to the anchor) / c * rate + difference of "
        "latencies, c = 343.2 sqrt(T / 293.15) m/s. The pickup has no way through air: "
        "its arrival is its latency."
    ),
)

EIGHTH_S = 0.245
NAMES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
# One word a bar of six eighths; "-" rests, "~" lets ring. D dorian; made up for this demo.
TUNE = (
    "D5 - F5 G5 - A5  C6 B5 A5 G5 - E5",
    "F5 - A5 D5 - E5  F5 G5 E5 C5 - D5",
    "A5 - D6 C6 A5 G5  A5 C6 G5 F5 - D5",
    "E5 F5 G5 A5 G5 E5  D5 - ~ ~ ~ ~",
)
BASS = (
    "D4 ~ A4 ~ ~ A4  C4 ~ G4 ~ ~ G4",
    "D4 ~ A4 ~ ~ A4  F4 ~ C5 G4 ~ ~",
    "F4 ~ C5 ~ ~ A4  C4 ~ G4 ~ ~ A4",
    "C4 ~ G4 ~ ~ G4  D3 A3 D4 A4 ~ ~",
)


TUNE_S = 4.75  # three single calls before it, each into a quiet room
CALLS = (("D5", 0.35, 0.75), ("A4", 1.9, 0.7), ("D5", 3.35, 0.72))


def pitch_hz(name: str) -> float:
    """Equal temperament, A4 = 440 Hz."""
    return 440.0 * 2 ** ((NAMES[name[0]] + 12 * int(name[1:]) - 57) / 12)


def score() -> list[tuple[str, float, float]]:
    """(pitch, time in s, strength 0..1) of every blow, with a player's small unevenness."""
    hits = [*CALLS]
    for lines, level in ((TUNE, 0.8), (BASS, 0.62)):
        for step, word in enumerate(" ".join(lines).split()):
            if word not in "-~":
                weight = (1.0, 0.72, 0.8, 0.9, 0.7, 0.78)[step % 6]
                hits.append((word, TUNE_S + step * EIGHTH_S, level * weight))
    late = spread(len(hits), -0.007, 0.007, SEED, 1)
    firm = spread(len(hits), 0.86, 1.0, SEED, 2)
    played = [(word, at + delay, s * f) for (word, at, s), delay, f in zip(hits, late, firm, strict=True)]
    end = TUNE_S + 48 * EIGHTH_S
    final = [
        ("D3", 0.0),
        ("A3", 0.055),
        ("D4", 0.11),
        ("F4", 0.165),
        ("A4", 0.22),
        ("D5", 0.285),
        ("D6", 0.36),
    ]
    return [*played, *((word, end - 1.0 + 2.2 * at, 0.46) for word, at in final)]


def sounds(frames: int) -> dict[str, dict[str, Signal]]:
    """What the board gives to the air, to its bass and treble sides, and to the pickup."""
    courses: dict[str, list[tuple[float, float]]] = {}
    for word, at_s, strength in score():
        courses.setdefault(word, []).append((at_s, strength))
    force = {side: np.zeros(frames) for side in ("air", "near_left", "near_right", "pickup")}
    for number, (word, hits) in enumerate(sorted(courses.items())):
        hz = pitch_hz(word)
        body = string_course(hz, 4.5, SEED + number)
        tone = struck(body, hits, frames, 0.0003)
        treble = np.clip(np.log2(hz / 294) / 2, -0.5, 0.5)  # -0.5 lowest .. +0.5 highest
        force["air"] += tone
        force["near_left"] += tone * (1 - 0.7 * treble)
        force["near_right"] += tone * (1 + 0.7 * treble)
        force["pickup"] += tone * (1 - 0.3 * treble)
    knock = hiss(0.03, 0.02, 500, 7000, SEED)
    knocks = struck(knock, [(at, s) for _, at, s in score()], frames, 0.0003)
    board = soundboard(0.5, SEED, straight=3.0, body=0.35)
    bridge = soundboard(0.2, SEED + 9, straight=3.0, body=0.2)
    out = {}
    for side, tone in force.items():
        way = bridge if side == "pickup" else board
        out[side] = fftconvolve(tone + 0.8 * knocks, way)[:frames]
    return {"strings": out}
