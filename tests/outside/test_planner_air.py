"""The planner's air against published figures.

Cramer, J. Acoust. Soc. Am. 93(5), 1993, 2510-2516, stated for 0 to 30 degrees C. The table was computed from
his coefficients as two independent reprints give them, at 101.325 kPa and 400 ppm CO2.
"""

from __future__ import annotations

import warnings

import pytest

from lagline.jobs.air import speed_of_sound_in_moist_air, temperature_for_speed
from lagline.jobs.plan import arrivals
from lagline.session.plan import Plan, PlannedLane
from lagline.units import speed_of_sound

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from pyroomacoustics.experimental.physics import calculate_speed_of_sound

CRAMER = {
    (0, 0): 331.45, (0, 50): 331.60, (0, 100): 331.76,
    (10, 0): 337.46, (10, 50): 337.78, (10, 100): 338.10,
    (20, 0): 343.36, (20, 50): 343.99, (20, 100): 344.61,
    (30, 0): 349.15, (30, 50): 350.31, (30, 100): 351.47,
    (-20, 0): 319.09, (-20, 50): 319.12, (40, 50): 356.88,
}  # fmt: skip


@pytest.mark.parametrize(("air", "expected"), CRAMER.items())
def test_cramer_table(air: tuple[int, int], expected: float) -> None:
    assert speed_of_sound_in_moist_air(*air) == pytest.approx(expected, abs=0.006)


@pytest.mark.parametrize("temperature_c", range(-20, 41, 5))
def test_dry_air_agrees_with_iso_9613_1(temperature_c: int) -> None:
    """ISO 9613-1:1993, c = 343.2 sqrt(T / 293.15): within 0.05 % (0.12 to 0.16 m/s) of Cramer's dry air."""
    assert speed_of_sound_in_moist_air(temperature_c, 0) == pytest.approx(
        speed_of_sound(temperature_c), rel=5.2e-4
    )


@pytest.mark.parametrize(("temperature_c", "humidity"), [(20, 0), (20, 50), (25, 40), (15, 60)])
def test_another_library_agrees_loosely(temperature_c: float, humidity: float) -> None:
    """pyroomacoustics uses a formula that is linear in both."""
    theirs = calculate_speed_of_sound(temperature_c, humidity, 101.325)
    assert speed_of_sound_in_moist_air(temperature_c, humidity) == pytest.approx(theirs, abs=1.0)


@pytest.mark.parametrize(("temperature_c", "ms"), [(-20, 31.355), (0, 30.185), (20, 29.138), (40, 28.192)])
def test_ten_metres_of_air(temperature_c: float, ms: float) -> None:
    """10 m in dry air (ISO 9613-1): the planner's dry air stays within 0.05 % of it."""
    lanes = (PlannedLane("line"), PlannedLane("hall", distance_m=10.0))
    plan = Plan(lanes=lanes, temperature_c=temperature_c, humidity_percent=0.0)
    assert arrivals(plan)[1].heard_ms == pytest.approx(ms, rel=5.2e-4)


def test_temperature_and_speed_are_inverse() -> None:
    for temperature_c in (-10.0, 0.0, 21.5, 35.0):
        assert temperature_for_speed(speed_of_sound(temperature_c)) == pytest.approx(temperature_c, abs=1e-9)


@pytest.mark.parametrize(
    "air", [(-80.0, 10.0), (80.0, 10.0), (20.0, -1.0), (20.0, 101.0), (float("nan"), 1.0)]
)
def test_air_that_is_none_is_refused(air: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match=r"degrees C|humidity"):
        speed_of_sound_in_moist_air(*air)
