"""What is published about listening level and time: for the caution shown at first use and in Help.

Lagline knows the level of the signal, never the sound pressure at the ear, so nothing here turns one into
the other.
"""

from __future__ import annotations

from msgspec import Struct

CAUTION = (
    "Start low. Lagline cannot know the sound level at your ears: that depends on headphones, amplifier and "
    "fit. Long or loud listening can damage hearing for good; ringing or dullness afterwards is a warning. "
    "Follow local rules and your workplace's limits, and ask a qualified person when in doubt."
)


class ExposureLimit(Struct, frozen=True):
    """A published pair of level and time."""

    level_dba: float  # A-weighted sound pressure level at the ear
    hours: float
    per: str  # "day" or "week"


NIOSH_SOURCE = "NIOSH publication 98-126 (1998): 85 dBA for 8 hours a day, halved for every 3 dB more"
NIOSH_LIMITS = tuple(
    ExposureLimit(level, hours, "day")
    for level, hours in ((85, 8.0), (88, 4.0), (91, 2.0), (94, 1.0), (97, 0.5), (100, 0.25))
)

WHO_SOURCE = (
    "WHO and ITU-T H.870: adults 80 dBA for 40 hours a week, halved for every 3 dB more; children 75 dBA"
)
WHO_LIMITS = tuple(
    ExposureLimit(level, hours, "week")
    for level, hours in ((80, 40.0), (83, 20.0), (86, 10.0), (89, 5.0), (92, 2.5))
)


def allowed_hours(level_dba: float, reference_dba: float, reference_hours: float) -> float:
    """Time with the same energy as the reference: halved for every 3 dB more."""
    return float(reference_hours * 2.0 ** ((reference_dba - level_dba) / 3.0))
