"""The speed of sound in moist air, for plans; findings and sessions use the dry one of units.py."""

from __future__ import annotations

import math

from lagline.session.plan import COLDEST_C, WARMEST_C
from lagline.units import speed_of_sound

STANDARD_PRESSURE_PA = 101_325.0
CARBON_DIOXIDE = 0.0004  # mole fraction, 400 ppm

_A = (
    331.5024, 0.603055, -0.000528, 51.471935, 0.1495874, -0.000782, -1.82e-7, 3.73e-8, -2.93e-10,
    -85.20931, -0.228525, 5.91e-5, -2.835149, -2.15e-13, 29.179762, 0.000486,
)  # fmt: skip


def speed_of_sound_in_moist_air(
    temperature_c: float, humidity_percent: float, pressure_pa: float = STANDARD_PRESSURE_PA
) -> float:
    """Speed of sound, m/s, with relative humidity in percent.

    Stated for 0 to 30 degrees C; outside that range, within -60 to 60, it is extrapolated and the humidity is
    worth little. 0.63 m/s more at 20 degrees C and 50 % than in dry air.

    Raises
    ------
    ValueError
        A temperature or humidity that air does not have.

    Notes
    -----
    O. Cramer, "The variation of the specific heat ratio and the speed of sound in air with temperature,
    pressure, humidity, and CO2 concentration", J. Acoust. Soc. Am. 93(5), 1993, 2510-2516, eq. 15; vapour
    pressure and enhancement factor as given there (after Giacomo and Davis).
    """
    if not COLDEST_C <= temperature_c <= WARMEST_C:
        raise ValueError(
            f"{temperature_c} degrees C is not the air of a room; choose {COLDEST_C:.0f} to {WARMEST_C:.0f}"
        )
    if not 0 <= humidity_percent <= 100:
        raise ValueError(f"{humidity_percent} % is not a relative humidity; choose 0 to 100")
    t, p, carbon = temperature_c, pressure_pa, CARBON_DIOXIDE
    water = humidity_percent / 100 * _enhancement(t, p) * _vapour_pressure_pa(t) / p
    a = _A
    return (
        (a[0] + a[1] * t + a[2] * t**2)
        + (a[3] + a[4] * t + a[5] * t**2) * water
        + (a[6] + a[7] * t + a[8] * t**2) * p
        + (a[9] + a[10] * t + a[11] * t**2) * carbon
        + a[12] * water**2
        + a[13] * p**2
        + a[14] * carbon**2
        + a[15] * water * p * carbon
    )


def temperature_for_speed(speed_m_s: float) -> float:
    """Temperature in degrees C of dry air that carries sound at that speed: inverse of units.speed_of_sound.

    Raises ValueError for a speed that is not positive.
    """
    if not speed_m_s > 0:
        raise ValueError(f"{speed_m_s} m/s is not a speed of sound")
    return 293.15 * (speed_m_s / speed_of_sound(20.0)) ** 2 - 273.15


def _vapour_pressure_pa(temperature_c: float) -> float:
    kelvin = temperature_c + 273.15
    return math.exp(1.2811805e-5 * kelvin**2 - 1.9509874e-2 * kelvin + 34.04926034 - 6.3536311e3 / kelvin)


def _enhancement(temperature_c: float, pressure_pa: float) -> float:
    return 1.00062 + 3.14e-8 * pressure_pa + 5.6e-7 * temperature_c**2
