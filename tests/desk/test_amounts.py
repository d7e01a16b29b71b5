import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lagline.desk.amounts import (
    UNITS,
    Unit,
    from_unit,
    in_unit,
    level_text,
    number_text,
    parse_shift,
    shift_in_all_units,
    shift_text,
    time_text,
)


@given(st.floats(-1e7, 1e7), st.sampled_from(UNITS), st.floats(-20, 40))
def test_units_there_and_back(samples: float, unit: Unit, temperature_c: float) -> None:
    there = in_unit(samples, unit, 48_000, temperature_c)
    assert math.isclose(from_unit(there, unit, 48_000, temperature_c), samples, rel_tol=1e-9, abs_tol=1e-9)


def test_units_against_handbook_figures() -> None:
    # ISO 9613-1 at 20 degrees C: 343.2 m/s; 1 ft = 0.3048 m, 1 in = 25.4 mm exact.
    assert in_unit(48, "ms", 48_000) == pytest.approx(1.0)
    assert in_unit(139.860, "m", 48_000) == pytest.approx(1.0, rel=1e-4)
    assert in_unit(42.629, "ft", 48_000) == pytest.approx(1.0, rel=1e-4)
    assert in_unit(48, "in", 48_000) == pytest.approx(13.512, rel=1e-4)
    assert in_unit(48, "cm", 48_000) == pytest.approx(34.32, rel=1e-4)


@pytest.mark.parametrize(
    ("typed", "samples"),
    (
        ("12.5", 12.5),
        ("-3", -3),
        ("−3", -3),
        ("+ 7", 7),
        ("1,5", 1.5),
        ("2 ms", 96),
        ("1ms", 48),
        ("10 smp", 10),
        ("1 m", 139.86),
        ("100 cm", 139.86),
        ("1 ft", 42.629),
        ('12"', 42.629),
        ("1'", 42.629),
    ),
)
def test_typed_shifts(typed: str, samples: float) -> None:
    assert parse_shift(typed, "samples", 48_000) == pytest.approx(samples, rel=1e-4)


def test_a_bare_number_is_in_the_chosen_unit() -> None:
    assert parse_shift("2", "ms", 48_000) == 96


@pytest.mark.parametrize("typed", ("", "later", "1 2", "3 miles", "-", "1e5", "nan"))
def test_nonsense_is_refused_with_a_sentence(typed: str) -> None:
    with pytest.raises(ValueError, match="is not a shift"):
        parse_shift(typed, "samples", 48_000)


@given(st.floats(-1e6, 1e6), st.sampled_from(UNITS))
def test_what_is_shown_can_be_typed(samples: float, unit: Unit) -> None:
    shown = shift_text(samples, unit, 48_000)
    assert in_unit(parse_shift(shown, unit, 48_000), unit, 48_000) == pytest.approx(
        in_unit(samples, unit, 48_000), abs=0.051
    )


def test_texts() -> None:
    assert shift_text(101.37, "samples", 48_000) == "+101.37 samples"
    assert shift_text(-101.37, "ms", 48_000) == "−2.112 ms"
    assert number_text(-0.001, 2) == "0.00"
    assert shift_in_all_units(48, 48_000, 20.0) == "+48.00 samples   +1.000 ms   +0.343 m"
    assert time_text(348_000, 48_000) == "0:07.250"
    assert time_text(-24_000, 48_000) == "−0:00.500"
    assert time_text(48_000 * 3_725, 48_000, 0) == "1:02:05"
    assert time_text(47_999.99, 48_000) == "0:01.000"
    assert level_text(-math.inf) == "−∞ dB"
    assert level_text(-3) == "−3.0 dB"
