"""Amounts as people write them: understood in every spelling, or refused with what is understood."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lagline.amounts import (
    METRES,
    MS,
    UNITS,
    NotAnAmount,
    Unit,
    from_unit,
    in_unit,
    metres_of,
    ms_of,
    samples_of,
)


@given(st.floats(-1e7, 1e7), st.sampled_from(UNITS), st.floats(-20, 40))
def test_units_there_and_back(samples: float, unit: Unit, temperature_c: float) -> None:
    there = in_unit(samples, unit, 48_000, temperature_c)
    assert math.isclose(from_unit(there, unit, 48_000, temperature_c), samples, rel_tol=1e-9, abs_tol=1e-9)


def test_units_against_handbook_figures() -> None:
    # ISO 9613-1 at 20 degrees C: 343.2 m/s; 1 ft = 0.3048 m, 1 in = 25.4 mm exact.
    assert in_unit(48, "ms", 48_000) == pytest.approx(1.0)
    assert in_unit(48_000, "s", 48_000) == pytest.approx(1.0)
    assert in_unit(139.860, "m", 48_000) == pytest.approx(1.0, rel=1e-4)
    assert in_unit(42.629, "ft", 48_000) == pytest.approx(1.0, rel=1e-4)
    assert in_unit(48, "in", 48_000) == pytest.approx(13.512, rel=1e-4)
    assert in_unit(48, "cm", 48_000) == pytest.approx(34.32, rel=1e-4)


@pytest.mark.parametrize(
    ("typed", "samples"),
    [
        ("12.5", 12.5), ("-3", -3), ("−3", -3), ("+ 7", 7), ("1,5", 1.5), (".5", 0.5), ("5.", 5),
        ("0,125", 0.125),        ("10 smp", 10), ("1 sample", 1), ("10SAMPLES", 10),
        ("2 ms", 96), ("1ms", 48), ("-1 ms", -48), ("0.5s", 24_000), ("2 s", 96_000), ("0,5 seconds", 24_000),
        ("250 µs", 12), ("250 us", 12), ("250 μs", 12), ("1 s 20 ms", 48_960), ("1s500us", 48_024),
        ("1 m", 139.86), ("100 cm", 139.86), ("1000mm", 139.86), ("1,2 m", 167.832), ("1m 20cm", 167.832),
        ("−1m20cm", -167.832), ("1 ft", 42.629), ('12"', 42.629), ("1'", 42.629), ("12 inches", 42.629),
        ("3 ft 2 in", 134.992), ("3' 2\"", 134.992), ("3′2″", 134.992), ("3’2”", 134.992),
        ("3 feet 2 in", 134.992),
    ],
)  # fmt: skip
def test_what_is_typed(typed: str, samples: float) -> None:
    """Lengths at 343.2 m/s: 48 000 / 343.2 = 139.860 samples a metre, 42.629 a foot."""
    assert samples_of(typed, "samples", 48_000) == pytest.approx(samples, rel=1e-4)


@pytest.mark.parametrize(
    ("text", "metres"),
    [("1.5", 1.5), ("1,5 m", 1.5), ("60cm", 0.6), ("6 ft", 1.8288), ("6'", 1.8288), ('10"', 0.254),
     (" 20 in ", 0.508), ("−2", -2.0), ("- 2 m", -2.0), (".5", 0.5), ("250 mm", 0.25), ("5 ft 6 in", 1.6764)],
)  # fmt: skip
def test_lengths_as_typed(text: str, metres: float) -> None:
    """1 ft = 0.3048 m and 1 in = 25.4 mm, exact (international yard and pound agreement, 1959)."""
    assert metres_of(text) == pytest.approx(metres)


@pytest.mark.parametrize("unit", UNITS)
def test_a_number_alone_is_in_the_unit_shown(unit: Unit) -> None:
    assert samples_of("2", unit, 48_000) == from_unit(2, unit, 48_000)
    with pytest.raises(NotAnAmount, match="2 has no unit"):
        samples_of("2", None, 48_000)


@pytest.mark.parametrize(
    "typed",
    ["", " ", "later", "1 2", "3 miles", "-", "1e5", "nan", "inf", "1.2.3", "1,2,3", "1,234.5", "ms",
     "3 ms ms", "1 m 2", "2 1 cm", "1 m 2 ms", "20 cm 1 m", "1 m 2 m", "1 smp 2 ms", "1 m -20 cm",
     "1 m + 20 cm", "--3",
     "3 - 2", "0x10", "1_000", "1 000", "1,200", "1,200 samples", "½", "٣", "5 m/s", "1:30", "m 5",
     "3''", "3 s."],
)  # fmt: skip
def test_anything_else_is_refused_with_what_is_understood(typed: str) -> None:
    with pytest.raises(NotAnAmount) as refused:
        samples_of(typed, "samples", 48_000)
    said = str(refused.value)
    assert "smp s ms µs m cm mm ft in" in said
    assert "a number alone is in samples" in said
    assert said.startswith(f"“{typed.strip()}” is not understood")


def test_only_what_can_be_meant_is_taken() -> None:
    assert ms_of("0.5s", "ms") == 500 and ms_of("20", "ms") == 20
    assert ms_of("48 smp", "ms", 48_000) == 1
    for wrong in ("1 m", "48 smp"):
        with pytest.raises(NotAnAmount, match="with a unit: s ms µs"):
            ms_of(wrong, "ms")
    with pytest.raises(NotAnAmount, match="with a unit: m cm mm ft in"):
        metres_of("3 ms")


@st.composite
def compounds(draw: st.DrawFn) -> tuple[str, float]:
    """A time or a length of some units, and what it comes to in samples at 48 kHz and 20 degrees C."""
    kind = draw(st.sampled_from((MS, METRES)))
    units = draw(st.lists(st.sampled_from(list(kind)), min_size=1, unique=True))
    text, total = "", 0.0
    for unit in sorted(units, key=lambda one: -kind[one]):
        whole, decimals = draw(st.integers(0, 99)), draw(st.sampled_from(("", ".5", ",25", ".125")))
        text += f"{whole}{decimals}{draw(st.sampled_from(('', ' ')))}{unit}{draw(st.sampled_from(('', ' ')))}"
        per_unit = 48.0 * kind[unit] if kind is MS else 48_000.0 * kind[unit] / 343.2
        total += float(f"{whole}{decimals}".replace(",", ".")) * per_unit
    sign = draw(st.sampled_from(("", "+", "-", "−", "- ")))
    return sign + text, -total if sign and sign != "+" else total


@given(compounds(), st.sampled_from(UNITS))
def test_compounds_add_up_whatever_the_box_shows(compound: tuple[str, float], bare: Unit) -> None:
    text, samples = compound
    assert samples_of(text, bare, 48_000) == pytest.approx(samples, rel=1e-9, abs=1e-9)


@given(st.text(alphabet="0123456789.,+-− smcftinu'\"µ", max_size=12), st.sampled_from(UNITS))
def test_nothing_is_guessed(text: str, bare: Unit) -> None:
    """Whatever is understood is every number typed, each with its own unit or the one shown."""
    try:
        samples = samples_of(text, bare, 48_000)
    except NotAnAmount:
        return
    numbers = re.findall(r"\d+[.,]?\d*|[.,]\d+", text)
    words = re.findall(r"[^\d.,+\-−\s]+", text)
    assert len(words) == len(numbers) or (len(numbers) == 1 and not words)
    assert math.isfinite(samples)
    is_less = text.strip()[0] in "-−"
    assert samples <= 0 if is_less else samples >= 0
