"""Shifts, times and levels as the engineer reads them; `lagline.amounts` reads what is typed. No Qt."""

from __future__ import annotations

import math
from typing import Literal, get_args

from lagline.amounts import MINUS, in_unit
from lagline.units import DEFAULT_TEMPERATURE_C

Unit = Literal["samples", "ms", "m", "cm", "ft", "in"]  # that shifts can be shown in
UNITS: tuple[Unit, ...] = get_args(Unit)
DECIMALS: dict[Unit, int] = {"samples": 2, "ms": 3, "m": 3, "cm": 1, "ft": 3, "in": 1}


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
