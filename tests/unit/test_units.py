"""Conversions, against published values."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lagline import units

# ISO 9613-1:1993, c = 343.2 * sqrt(T / 293.15): values computed for the project's fact sheet.
ISO_9613_1 = {-20: 318.93, 0: 331.29, 10: 337.30, 20: 343.20, 30: 349.00, 40: 354.71}
# Cramer, JASA 93 (1993) 2510, dry air: an independent formula, to differ by 0.05 % at most.
CRAMER_DRY = {0: 331.45, 10: 337.46, 20: 343.36, 30: 349.15}


@pytest.mark.parametrize(("temperature_c", "metres_per_s"), ISO_9613_1.items())
def test_speed_of_sound_of_the_standard(temperature_c: float, metres_per_s: float) -> None:
    assert units.speed_of_sound(temperature_c) == pytest.approx(metres_per_s, abs=0.006)


@pytest.mark.parametrize(("temperature_c", "metres_per_s"), CRAMER_DRY.items())
def test_speed_of_sound_of_another_formula(temperature_c: float, metres_per_s: float) -> None:
    assert units.speed_of_sound(temperature_c) == pytest.approx(metres_per_s, rel=5.5e-4)


def test_the_coldest_air_still_has_a_speed_of_sound() -> None:
    assert 0 < units.speed_of_sound(-272.65) < 20  # half a kelvin above the absolute zero


@pytest.mark.parametrize("temperature_c", [-273.15, -300.0, math.nan])
def test_no_speed_of_sound_without_air(temperature_c: float) -> None:
    with pytest.raises(ValueError, match="not an air temperature"):
        units.speed_of_sound(temperature_c)


# Samples per metre at 343.2 m/s (arithmetic of the definition; fact sheet, relative 1e-4).
@pytest.mark.parametrize(("rate_hz", "per_metre"), [(44100, 128.497), (48000, 139.860), (96000, 279.720)])
def test_samples_per_metre(rate_hz: int, per_metre: float) -> None:
    assert units.metres_to_samples(1.0, rate_hz) == pytest.approx(per_metre, rel=1e-4)


def test_one_millisecond_per_foot_is_only_a_rule_of_thumb() -> None:
    one_foot_ms = units.samples_to_ms(units.metres_to_samples(units.feet_to_metres(1), 48000), 48000)
    assert one_foot_ms == pytest.approx(0.8881, abs=5e-5)


@given(st.floats(-1e6, 1e6), st.sampled_from((44100, 48000, 96000, 192000)), st.floats(-40, 50))
def test_conversions_there_and_back(samples: float, rate_hz: int, temperature_c: float) -> None:
    back = units.metres_to_samples(
        units.samples_to_metres(samples, rate_hz, temperature_c), rate_hz, temperature_c
    )
    assert back == pytest.approx(samples, rel=1e-12, abs=1e-12)
    assert units.ms_to_samples(units.samples_to_ms(samples, rate_hz), rate_hz) == pytest.approx(
        samples, rel=1e-12, abs=1e-12
    )
    assert units.feet_to_metres(units.metres_to_feet(samples)) == pytest.approx(samples, rel=1e-12, abs=1e-12)


def test_later_is_further() -> None:
    assert units.samples_to_metres(101, 48000) > 0 > units.samples_to_metres(-101, 48000)
    assert units.samples_to_ms(48, 48000) == 1.0


def test_levels() -> None:
    # 20 log10 2 = 6.0206 dB and 20 log10 (1/3) = -9.54 dB (the 3:1 rule's arithmetic).
    assert units.gain_to_db(2.0) == pytest.approx(6.0206, abs=1e-4)
    assert units.gain_to_db(1 / 3) == pytest.approx(-9.54, abs=5e-3)
    assert units.gain_to_db(-1.0) == 0.0
    assert units.gain_to_db(0.0) == -math.inf
    assert units.db_to_gain(-math.inf) == 0.0
    assert units.db_to_gain(-6.0206) == pytest.approx(0.5, rel=1e-5)
