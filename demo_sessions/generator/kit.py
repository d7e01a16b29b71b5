"""The kit take: a drum kit of invented skins, wires and plates in a wooden room.

Six lanes: three spot microphones, a spaced overhead pair whose right one is wired the wrong way
round, and a room microphone behind the player.
"""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, sosfilt

from generator.microphones import DRUM_DYNAMIC, DYNAMIC, LARGE_CONDENSER, RIBBON, SMALL_CONDENSER
from generator.modal import at_peak, hiss, plate, skin, struck
from generator.noise import Signal, spread
from generator.room import RATE_HZ, Ear, Room
from generator.scene import Instrument, LanePlan, Scene

SEED = 7353
KICK, SNARE, RACK, FLOOR = (2.86, 5.05, 0.36), (2.55, 4.62, 0.70), (2.72, 5.02, 0.98), (3.32, 4.66, 0.63)
HAT, CRASH = (2.13, 4.83, 0.93), (2.20, 5.33, 1.38)
KIT_MIDDLE = (2.75, 4.85, 0.75)

SCENE = Scene(
    name="kit",
    title="Drum kit in a wooden room",
    room=Room(
        size_m=(5.6, 7.4, 3.05), rt60_s=(0.38, 0.42, 0.43, 0.43, 0.42, 0.40, 0.34, 0.26), temperature_c=21.0
    ),
    instruments=(
        Instrument("kick", KICK, 0.16),
        Instrument("snare", SNARE, 0.09),
        Instrument("rack tom", RACK, 0.09),
        Instrument("floor tom", FLOOR, 0.11),
        Instrument("hat", HAT, 0.10),
        Instrument("crash", CRASH, 0.12),
    ),
    lanes=(
        LanePlan(
            "kick",
            "kick",
            DRUM_DYNAMIC,
            0.075,
            Ear((2.88, 5.17, 0.33), KICK, 0.6),
            gain_db=-3.0,
            note="Spot, inside the shell, 12 cm from the skin",
        ),
        LanePlan(
            "snare",
            "snare",
            DYNAMIC,
            0.055,
            Ear((2.57, 4.72, 0.76), SNARE, 0.5),
            gain_db=-4.0,
            note="Spot, over the rim",
        ),
        LanePlan(
            "floor_tom",
            "floor tom",
            DYNAMIC,
            0.085,
            Ear((3.23, 4.64, 0.71), FLOOR, 0.5),
            gain_db=-5.0,
            pan=0.4,
            note="Spot, over the rim",
        ),
        LanePlan(
            "overhead_left",
            "snare",
            SMALL_CONDENSER,
            0.30,
            Ear((2.02, 4.78, 1.92), (2.35, 4.85, 0.8), 0.5),
            gain_db=-2.0,
            pan=-0.8,
            note="Cardioid",
        ),
        LanePlan(
            "overhead_right",
            "snare",
            LARGE_CONDENSER,
            0.34,
            Ear((3.42, 4.70, 1.86), (3.10, 4.85, 0.8), 0.5),
            polarity=-1,
            gain_db=-2.0,
            pan=0.8,
            note="Cardioid, inverted by its cable",
        ),
        LanePlan(
            "room",
            "snare",
            RIBBON,
            0.42,
            Ear((2.31, 0.83, 1.62), KIT_MIDDLE, 0.7),
            gain_db=-4.0,
            note="Behind the player, across the room",
        ),
    ),
    seconds=12.5,
    reverb_s=0.8,
    seed=SEED,
    notes=(
        "Every lane hears every drum, each at its own time: arrival_by_instrument_samples. The arrival of a "
        "lane is that of the drum it follows, against the same drum in the anchor lane; overheads and room "
        "follow the snare. Arrival = (distance to the lane - distance to the anchor) / c * rate, "
        "c = 343.2 sqrt(T / 293.15) m/s."
    ),
)

EIGHTH_S = 0.305
SHELL_GAIN = 0.12  # of everything else inside the shell of the kick
# One character a sixteenth, four bars: X accent, x normal, o soft, "." rest. Made up for this demo.
GROOVE = {
    "kick": "X......x.X.x.... X......x.X.....x X......x.X.x.... X..x...x.X...... X",
    "snare": "....X.......X..o ....X...o...X... ....X.......X..o ....X..o.ooo.... .",
    "hat": "..x...x.o.x...x. ..x...x...x...x. ..x...x.o.x...x. ..x...x......... .",
    "rack tom": "................ ................ ................ ............xo.. .",
    "floor tom": ".....x.......x.. .....x.....o.x.. .....x.......x.. .....x........xX .",
    "crash": "................ ................ X............... ................ X",
}
STRENGTH = {"X": 1.0, "x": 0.72, "o": 0.38}


def hits(name: str) -> list[tuple[float, float]]:
    """(time in s, strength 0..1) of every stroke, with a player's small unevenness."""
    steps = GROOVE[name].replace(" ", "")
    seed = sorted(GROOVE).index(name)
    late = spread(len(steps), -0.005, 0.006, SEED, seed, 1)
    firm = spread(len(steps), 0.88, 1.0, SEED, seed, 2)
    return [
        (0.3 + (step + 0.12 * (step % 2)) * EIGHTH_S / 2 + late[step], STRENGTH[mark] * firm[step])
        for step, mark in enumerate(steps)
        if mark in STRENGTH
    ]


def bodies() -> dict[str, tuple[Signal, float]]:
    """What each instrument does after a blow, and how long the blow lasts in s."""
    stick = at_peak(hiss(0.02, 0.012, 900, 9000, SEED + 9), 0.0003, 1.0)

    click = at_peak(hiss(0.03, 0.02, 1200, 7000, SEED + 10), 0.0003, 1.0)

    def drum(
        tone: Signal, contact_s: float, peak: float, stick_part: float, wires: Signal | None = None
    ) -> Signal:
        tone = at_peak(tone, contact_s, 1.0)
        tone[: len(stick)] += stick_part * stick
        if wires is not None:
            tone = tone + wires
        return at_peak(tone, contact_s, peak)

    kick = at_peak(skin(54, 1.1, 0.50, SEED + 1, modes=14, glide=0.30), 0.0011, 1.0)
    beater = at_peak(skin(700, 0.06, 0.035, SEED + 2, modes=26, glide=0.0), 0.0009, 1.0)
    kick[: len(beater)] += beater
    kick[: len(click)] += 1.6 * click
    rattle = hiss(0.6, 0.30, 1300, 11_500, SEED + 4)
    rattle *= 1 - np.exp(-np.arange(len(rattle)) / (0.0007 * RATE_HZ))
    snare = skin(188, 0.6, 0.26, SEED + 3, modes=36, glide=0.05)
    crash = plate(240, 16_500, 1100, 3.4, 3.4, SEED + 8, tilt=0.25)
    hat = plate(700, 17_500, 520, 0.4, 0.30, SEED + 7, tilt=0.7)
    thin = butter(2, 500, "highpass", fs=RATE_HZ, output="sos")
    return {
        "kick": (at_peak(kick, 0.0011, 1.4), 0.0011),
        "snare": (drum(snare, 0.0005, 1.3, 0.4, at_peak(rattle, 0.0005, 0.85)), 0.0005),
        "rack tom": (drum(skin(141, 1.2, 0.62, SEED + 5, modes=34), 0.0009, 0.8, 0.6), 0.0009),
        "floor tom": (drum(skin(92, 1.5, 0.80, SEED + 6, modes=34), 0.0011, 0.85, 1.0), 0.0011),
        "hat": (at_peak(np.asarray(sosfilt(thin, hat)), 0.0002, 0.3), 0.0002),
        "crash": (at_peak(crash, 0.0003, 0.5), 0.0003),
    }


def sounds(frames: int) -> dict[str, dict[str, Signal]]:
    """What each instrument gives to the air."""
    out = {}
    for name, (body, contact_s) in bodies().items():
        sound = struck(body, hits(name), frames, contact_s)
        out[name] = {"air": sound} if name == "kick" else {"air": sound, "kick": SHELL_GAIN * sound}
    return out
