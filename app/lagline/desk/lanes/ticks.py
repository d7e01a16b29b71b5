"""Where the ruler has its marks and what stands at them. No Qt."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

from msgspec import Struct

from lagline.amounts import MINUS
from lagline.desk.amounts import time_text
from lagline.desk.timeview import TimeView

LEAST_PIXELS = 84.0  # between two labelled marks
SAMPLES_BELOW_S = 0.0005  # closer than this the ruler counts samples
_CLOCK_STEPS_S = (1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0)


class Tick(Struct, frozen=True):
    """A mark on the ruler."""

    x: float  # pixels
    label: str  # empty for a small mark


def round_step(least: float) -> tuple[float, int]:
    """The least 1, 2 or 5 times a power of ten not below `least`, and in how many parts to divide it."""
    power = 10.0 ** math.floor(math.log10(least))
    for factor, parts in ((1.0, 5), (2.0, 4), (5.0, 5), (10.0, 5)):
        if factor * power >= least * (1 - 1e-9):
            return factor * power, parts
    raise AssertionError("ten times the power is never below")


@lru_cache(maxsize=16)  # the ruler and every lane ask the same
def ticks(view: TimeView, width: float, rate_hz: int) -> tuple[Tick, ...]:
    """Marks from left to right over `width` pixels, labelled ones at least LEAST_PIXELS apart."""
    least = LEAST_PIXELS * view.per_pixel
    if least / rate_hz < SAMPLES_BELOW_S:
        step, parts = round_step(max(least, 1.0))
        step = float(round(step))
        parts = parts if step / parts >= 1 and (step / parts).is_integer() else 1
        return _marks(view, width, step, parts, _samples_label)
    least_s = least / rate_hz
    if least_s <= 0.5:
        step_s, parts = round_step(least_s)
    else:
        step_s = next((step for step in _CLOCK_STEPS_S if step >= least_s), 3600.0)
        while step_s < least_s:
            step_s *= 2
        parts = 3 if step_s in (15.0, 30.0, 900.0) else 6 if step_s in (60.0, 120.0) else 5
    decimals = max(0, -math.floor(math.log10(step_s) + 1e-9))

    def label(sample: float) -> str:
        return time_text(sample, rate_hz, decimals)

    return _marks(view, width, step_s * rate_hz, parts, label)


def _samples_label(sample: float) -> str:
    grouped = f"{abs(round(sample)):,}".replace(",", "\N{NARROW NO-BREAK SPACE}")
    return f"{MINUS}{grouped}" if sample < 0 else grouped


def _marks(
    view: TimeView, width: float, step: float, parts: int, label: Callable[[float], str]
) -> tuple[Tick, ...]:
    small = step / parts
    first = math.floor(view.sample_at(0) / small) - parts
    last = math.ceil(view.sample_at(width) / small)
    return tuple(
        Tick(view.x_of(index * small), label(index * small) if index % parts == 0 else "")
        for index in range(first, last + 1)
    )
