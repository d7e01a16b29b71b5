"""What is published about listening level and time: for the caution shown at first use and in Help.

Lagline knows the level of the signal, never the sound pressure at the ear. Only a figure that the engineer
measured and typed turns one into the other, and only as an estimate.
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


REFERENCE_LUFS = -20.0  # of the pink noise that the engineer's meter reads


def ear_dba(level_lufs: float, reference_dba: float) -> float:
    """Estimate of the sound level at the ear, dB(A), for a level of what leaves for the device.

    reference_dba : what a sound level meter (A, slow) reads at the ear, or in the coupler of a headphone, for
        pink noise of REFERENCE_LUFS through the same device at the same setting.
    """
    return level_lufs - REFERENCE_LUFS + reference_dba


def exposure_text(level_dba: float) -> str:
    """In plain words, how long a level may be heard by the published limits, and whose they are."""
    said = f"About {level_dba:.0f} dB(A) at your ears, estimated from the figure you typed."
    day, week = allowed_hours(level_dba, 85.0, 8.0), allowed_hours(level_dba, 80.0, 40.0)
    if week >= 24.0 * 7.0:
        return f"{said} No published limit is reached in a week of it ({WHO_SOURCE})."
    work = f"{_time_text(day)} a day at work ({NIOSH_SOURCE})" if day < 24.0 else ""
    leisure = f"{_time_text(week)} a week ({WHO_SOURCE})"
    limits = " and ".join(limit for limit in (work, leisure) if limit)
    return f"{said} At that level the published limits are reached after {limits}."


def _time_text(hours: float) -> str:
    return f"{hours:.0f} h" if hours >= 2.0 else f"{60.0 * hours:.0f} min" if hours >= 1 / 60 else "seconds"
