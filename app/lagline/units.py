"""Samples, time, distance and level: conversions, with the unit in every name."""

from __future__ import annotations

import math

DEFAULT_TEMPERATURE_C = 20.0
METRES_PER_FOOT = 0.3048  # exact, international foot of 1959
SILENCE_DB = -math.inf


def speed_of_sound(temperature_c: float = DEFAULT_TEMPERATURE_C) -> float:
    """Speed of sound in dry air, m/s.

    Parameters
    ----------
    temperature_c : air temperature in degrees Celsius, above -273.15.

    Raises
    ------
    ValueError
        At or below absolute zero, or not a number.

    Notes
    -----
    c = 343.2 * sqrt(T / 293.15) of ISO 9613-1:1993. Humidity adds at most 0.42 % at 20 degrees C
    (Cramer, JASA 93, 1993, 2510) and is left to the planner.
    """
    kelvin = temperature_c + 273.15
    if not kelvin > 0:
        raise ValueError(f"{temperature_c} degrees C is not an air temperature")
    return 343.2 * math.sqrt(kelvin / 293.15)


def samples_to_ms(samples: float, rate_hz: float) -> float:
    """Time in milliseconds of a count of samples at `rate_hz`; keeps the sign."""
    return 1000.0 * samples / rate_hz


def ms_to_samples(ms: float, rate_hz: float) -> float:
    """Samples at `rate_hz` in a time in milliseconds; keeps the sign and the fraction."""
    return ms * rate_hz / 1000.0


def samples_to_metres(samples: float, rate_hz: float, temperature_c: float = DEFAULT_TEMPERATURE_C) -> float:
    """Way of sound in air, in metres, during `samples` at `rate_hz`; keeps the sign."""
    return samples / rate_hz * speed_of_sound(temperature_c)


def metres_to_samples(metres: float, rate_hz: float, temperature_c: float = DEFAULT_TEMPERATURE_C) -> float:
    """Samples at `rate_hz` that sound takes over `metres` of air; keeps the sign and the fraction."""
    return metres / speed_of_sound(temperature_c) * rate_hz


def metres_to_feet(metres: float) -> float:
    """Feet of 0.3048 m; keeps the sign."""
    return metres / METRES_PER_FOOT


def feet_to_metres(feet: float) -> float:
    """Metres of feet of 0.3048 m; keeps the sign."""
    return feet * METRES_PER_FOOT


def frames_at(frames: int, rate_hz: int, wanted_hz: int) -> int:
    """Length of `frames` at `rate_hz` after conversion to `wanted_hz`, rounded up."""
    return -(-frames * wanted_hz // rate_hz)


def db_to_gain(level_db: float) -> float:
    """Amplitude factor of a level in dB; -inf gives 0."""
    return math.pow(10.0, level_db / 20.0)


def gain_to_db(gain: float) -> float:
    """Level in dB of an amplitude factor; 0 gives -inf, the sign is ignored."""
    return 20.0 * math.log10(abs(gain)) if gain else SILENCE_DB
