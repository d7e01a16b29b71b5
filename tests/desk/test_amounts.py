import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lagline.amounts import in_unit, samples_of
from lagline.desk.amounts import (
    UNITS,
    Unit,
    level_text,
    number_text,
    shift_in_all_units,
    shift_text,
    time_text,
)


@given(st.floats(-1e6, 1e6), st.sampled_from(UNITS))
def test_what_is_shown_can_be_typed(samples: float, unit: Unit) -> None:
    shown = shift_text(samples, unit, 48_000)
    assert in_unit(samples_of(shown, unit, 48_000), unit, 48_000) == pytest.approx(
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
