"""Lengths as people type them."""

from __future__ import annotations

import re

from lagline.units import feet_to_metres

METRES = {
    "m": 1.0,
    "cm": 0.01,
    "mm": 0.001,
    "ft": feet_to_metres(1.0),
    "'": feet_to_metres(1.0),
    "in": feet_to_metres(1.0) / 12,
    '"': feet_to_metres(1.0) / 12,
}
_LENGTH = re.compile(r"([+\-\N{MINUS SIGN}]?\s*(?:\d+[.,]?\d*|[.,]\d+))\s*([a-z'\"]*)")


def metres_of(text: str) -> float:
    """Metres from what was typed: "1.5", "60 cm", "6 ft". A bare number is in metres.

    Raises ValueError with a sentence to show.
    """
    match = _LENGTH.fullmatch(text.strip().lower())
    unit = match[2] or "m" if match else ""
    if match is None or unit not in METRES:
        raise ValueError(
            f"“{text.strip()}” is not a length. Type metres, or a unit: 1.5, 60 cm, 6 ft, 20 in."
        )
    number = match[1].replace(",", ".").replace("\N{MINUS SIGN}", "-").replace(" ", "")
    return float(number) * METRES[unit]
