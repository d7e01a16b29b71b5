"""Two recorders at the chapel: one on the stage, one on the gallery, started late and running fast.

Not stored: made for those who want to try what the guide says of two clocks.
"""

from __future__ import annotations

from dataclasses import replace

from generator import chapel
from generator.microphones import OLD_CONDENSER, SMALL_CONDENSER
from generator.noise import Signal
from generator.room import Ear
from generator.scene import LanePlan

SCENE = replace(
    chapel.SCENE,
    name="two_recorders",
    title="Two recorders in a chapel",
    lanes=(
        LanePlan(
            "stage",
            "strings",
            SMALL_CONDENSER,
            0.012,
            Ear((4.3, 4.9, 1.5), chapel.BOARD),
            note="First recorder",
        ),
        LanePlan(
            "gallery",
            "strings",
            OLD_CONDENSER,
            0.028,
            Ear((8.9, 3.9, 3.1), chapel.BOARD, 0.5),
            starts_s=2.4,
            clock_ppm=38.0,
            note="Second recorder: started 2.4 s late, its clock is 38 ppm fast",
        ),
    ),
    seed=chapel.SEED + 50,
    notes=(
        "Arrival at session time 0, by the gallery recorder's own clock; it grows by drift_ppm. "
        "The gallery hears the strings later, but its file begins 2.4 s late, so they stand earlier in it."
    ),
)


def sounds(frames: int) -> dict[str, dict[str, Signal]]:
    return chapel.sounds(frames)
