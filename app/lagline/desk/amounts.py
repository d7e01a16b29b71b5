"""Shifts and times as the engineer reads and types them. No Qt."""

from __future__ import annotations

import math
import re
from typing import Literal, get_args

from lagline.units import (
    DEFAULT_TEMPERATURE_C,
    feet_to_metres,
    metres_to_feet,
    metres_to_samples,
    ms_to_samples,
    samples_to_metres,
    samples_to_ms,
)

Unit = Literal["samples", "ms", "m", "cm", "ft", "in"]
UNITS: tuple[Unit, ...] = get_args(Unit)
DECIMALS: dict[Unit, int] = {"samples": 2, "ms": 3, "m": 3, "cm": 1, "ft": 3, "in": 1}
MINUS = "\N{MINUS SIGN}"
_NUMBER = re.compile(r"^\s*([+\-\N{MINUS SIGN}]?\s*\d*[.,]?\d*)\s*([a-zA-Z'\"]*)\s*$")
_SPELLINGS: dict[str, Unit] = {
    "samples": "samples", "sample": "samples", "smp": "samples", "s": "samples", "ms": "ms",
    "m": "m", "cm": "cm", "ft": "ft", "'": "ft", "in": "in", '"': "in",
}  # fmt: skip


def in_unit(
    samples: float, unit: Unit, rate_hz: float, temperature_c: float = DEFAULT_TEMPERATURE_C
) -> float:
    """A count of samples at `rate_hz` in another unit; keeps the sign."""
    if unit == "samples":
        return samples
    if unit == "ms":
        return samples_to_ms(samples, rate_hz)
    metres = samples_to_metres(samples, rate_hz, temperature_c)
    if unit == "m":
        return metres
    if unit == "cm":
        return 100.0 * metres
    feet = metres_to_feet(metres)
    return feet if unit == "ft" else 12.0 * feet


def from_unit(
    amount: float, unit: Unit, rate_hz: float, temperature_c: float = DEFAULT_TEMPERATURE_C
) -> float:
    """The inverse of `in_unit`: samples at `rate_hz`."""
    if unit == "samples":
        return amount
    if unit == "ms":
        return ms_to_samples(amount, rate_hz)
    metres = {"m": amount, "cm": amount / 100.0, "ft": feet_to_metres(amount)}.get(
        unit, feet_to_metres(amount / 12.0)
    )
    return metres_to_samples(metres, rate_hz, temperature_c)


def number_text(value: float, decimals: int, *, signed: bool = False) -> str:
    """Fixed decimals, a true minus sign, and never a negative zero."""
    text = f"{abs(value):.{decimals}f}"
    if not any(digit in text for digit in "123456789"):
        return text
    if value < 0:
        return MINUS + text
    return f"+{text}" if signed else text


def shift_text(
    samples: float,
    unit: Unit,
    rate_hz: float,
    temperature_c: float = DEFAULT_TEMPERATURE_C,
    *,
    signed: bool = True,
) -> str:
    """For example "+101.37 samples" or "+2.112 ms"."""
    amount = in_unit(samples, unit, rate_hz, temperature_c)
    return f"{number_text(amount, DECIMALS[unit], signed=signed)} {unit}"


def shift_in_all_units(samples: float, rate_hz: float, temperature_c: float, distance: Unit = "m") -> str:
    """The live read-out of a drag: samples, milliseconds and distance."""
    return "   ".join(
        shift_text(samples, unit, rate_hz, temperature_c) for unit in ("samples", "ms", distance)
    )


def parse_shift(text: str, unit: Unit, rate_hz: float, temperature_c: float = DEFAULT_TEMPERATURE_C) -> float:
    """Samples from what was typed: "12.5", "-3 ms", "1,2 m", "4'". A bare number is in `unit`.

    Raises ValueError with a sentence to show.
    """
    match = _NUMBER.match(text)
    digits = match.group(1).replace(" ", "").replace(",", ".").replace(MINUS, "-") if match else ""
    spelled = match.group(2).lower() if match else ""
    try:
        amount = float(digits)
        typed = _SPELLINGS[spelled] if spelled else unit
    except (ValueError, KeyError):
        raise ValueError(
            f"“{text.strip()}” is not a shift. "
            "Type a number, with a unit if you like: 12.5, -3 ms, 1.2 m, 4 ft."
        ) from None
    return from_unit(amount, typed, rate_hz, temperature_c)


def time_text(samples: float, rate_hz: float, decimals: int = 3) -> str:
    """Session time as "0:07.250", "12:03.000" or "1:00:00.000"; a minus before session time 0."""
    ticks = round(abs(samples) / rate_hz * 10**decimals)
    seconds, fraction = divmod(ticks, 10**decimals)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    sign = MINUS if samples < 0 and ticks else ""
    head = f"{hours}:{minutes:02d}" if hours else f"{minutes}"
    tail = f".{fraction:0{decimals}d}" if decimals else ""
    return f"{sign}{head}:{seconds:02d}{tail}"


def level_text(level_db: float) -> str:
    """A level in dB with one decimal, or the sign for silence."""
    return f"{MINUS}∞ dB" if math.isinf(level_db) else f"{number_text(level_db, 1, signed=True)} dB"
