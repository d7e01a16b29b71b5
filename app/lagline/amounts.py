"""Times and ways of sound as people write them: 12.5, −3 ms, 0.5 s, 1 m 20 cm, 3' 2". Nothing is guessed."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Literal, get_args

from lagline.units import (
    DEFAULT_TEMPERATURE_C,
    METRES_PER_FOOT,
    metres_to_samples,
    ms_to_samples,
    samples_to_metres,
    samples_to_ms,
)

Unit = Literal["samples", "s", "ms", "µs", "m", "cm", "mm", "ft", "in"]
UNITS: tuple[Unit, ...] = get_args(Unit)
MS: dict[Unit, float] = {"s": 1000.0, "ms": 1.0, "µs": 0.001}
METRES: dict[Unit, float] = {
    "m": 1.0, "cm": 0.01, "mm": 0.001, "ft": METRES_PER_FOOT, "in": METRES_PER_FOOT / 12,
}  # fmt: skip
MINUS = "\N{MINUS SIGN}"
_SPELLINGS: dict[str, Unit] = {
    **{unit: unit for unit in UNITS},
    "sample": "samples", "smp": "samples",
    "sec": "s", "second": "s", "seconds": "s", "us": "µs", "\N{GREEK SMALL LETTER MU}s": "µs",
    "'": "ft", "’": "ft", "′": "ft", "foot": "ft", "feet": "ft",
    '"': "in", "”": "in", "″": "in", "inch": "in", "inches": "in",
}  # fmt: skip
_ALL = "smp s ms µs m cm mm ft in"
_PIECE = re.compile(r"\s*([0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)\s*([a-zA-Zµμ]+|['’′\"”″])?")
_SIGN = re.compile(rf"\s*([+\-{MINUS}]?)")
_THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")

Amount = tuple[tuple[float, Unit], ...]  # of one kind, with one sign: 1 m and 20 cm


class NotAnAmount(ValueError):
    """What was typed is not understood. Says what is."""

    def __init__(self, text: str, why: str, bare: Unit | None, units: tuple[Unit, ...]) -> None:
        known = " ".join(short for short in _ALL.split() if _SPELLINGS[short] in units)
        marks = "; feet and inches are ' and \" too" if "ft" in units else ""
        joined = "1 m 20 cm" if "m" in units else "1 s 20 ms"
        number = f"a number alone is in {bare}; " if bare else ""
        super().__init__(
            f"“{text.strip()}” is not understood: {why}. Type a number with a unit: {known}{marks}. "
            f"Several go together, as in {joined}; {number}decimals have a point or a comma."
        )


def amount_of(text: str, bare: Unit | None, units: tuple[Unit, ...] = UNITS) -> Amount:
    """What was typed, as numbers with their units: "12.5", "−3 ms", "1,2 m", "1m 20cm", "3' 2\\"".

    A number alone is in `bare`. Several numbers each have their unit, all of time or all of length, from
    large to small; a sign stands before the first and holds for all.

    Raises
    ------
    NotAnAmount
        Anything else, and any unit but `units`.
    """

    def no(why: str) -> NotAnAmount:
        return NotAnAmount(text, why, bare, units)

    sign = _SIGN.match(text)
    end = sign.end() if sign else 0
    pieces = []
    while piece := _PIECE.match(text, end):
        pieces.append((piece[1], (piece[2] or "").lower()))
        end = piece.end()
    if not pieces or text[end:].strip():
        raise no(f"“{text[end:].strip()}” is no number" if text[end:].strip() else "it has no number")
    found: list[tuple[float, Unit]] = []
    for number, spelled in pieces:
        unit = _SPELLINGS.get(spelled) if spelled else bare if len(pieces) == 1 else None
        if unit is None:
            raise no(f"“{spelled}” is no unit" if spelled else f"{number} has no unit")
        if unit not in units:
            raise no(f"“{spelled}” cannot be used here")
        if unit == "samples" and _THOUSANDS.fullmatch(number):
            plain, point = number.replace(",", ""), number.replace(",", ".")
            raise no(f"{number} may be {plain} or {point}, so write which")
        found.append((float(number.replace(",", ".")), unit))
    kinds = [next(kind for kind in (MS, METRES, {unit: 1.0}) if unit in kind) for _, unit in found]
    sizes = [kind[unit] for kind, (_, unit) in zip(kinds, found, strict=True)]
    if any(kind is not kinds[0] for kind in kinds) or any(one <= next_ for one, next_ in pairwise(sizes)):
        raise no("numbers that go together are all of time or all of length, from large to small")
    is_less = sign is not None and sign[1] in ("-", MINUS)
    return tuple((-number if is_less else number, unit) for number, unit in found)


def samples_of(
    text: str, bare: Unit | None, rate_hz: float, temperature_c: float = DEFAULT_TEMPERATURE_C
) -> float:
    """Samples at `rate_hz` from what was typed. Raises NotAnAmount."""
    return sum(from_unit(number, unit, rate_hz, temperature_c) for number, unit in amount_of(text, bare))


def ms_of(text: str, bare: Unit | None, rate_hz: float | None = None) -> float:
    """Milliseconds from a time as typed, or from samples where the rate is known. Raises NotAnAmount."""
    if rate_hz is None:
        return sum(number * MS[unit] for number, unit in amount_of(text, bare, (*MS,)))
    found = amount_of(text, bare, ("samples", *MS))
    return samples_to_ms(sum(from_unit(number, unit, rate_hz) for number, unit in found), rate_hz)


def metres_of(text: str, bare: Unit | None = "m") -> float:
    """Metres from a length that was typed. Raises NotAnAmount."""
    return sum(number * METRES[unit] for number, unit in amount_of(text, bare, (*METRES,)))


def in_unit(
    samples: float, unit: Unit, rate_hz: float, temperature_c: float = DEFAULT_TEMPERATURE_C
) -> float:
    """A count of samples at `rate_hz` in another unit; keeps the sign."""
    if unit == "samples":
        return samples
    if unit in MS:
        return samples_to_ms(samples, rate_hz) / MS[unit]
    return samples_to_metres(samples, rate_hz, temperature_c) / METRES[unit]


def from_unit(
    amount: float, unit: Unit, rate_hz: float, temperature_c: float = DEFAULT_TEMPERATURE_C
) -> float:
    """The inverse of `in_unit`: samples at `rate_hz`."""
    if unit == "samples":
        return amount
    if unit in MS:
        return ms_to_samples(amount * MS[unit], rate_hz)
    return metres_to_samples(amount * METRES[unit], rate_hz, temperature_c)
