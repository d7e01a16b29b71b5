"""How figures are written on the panels: samples, time, distance, frequency. Pure text, no Qt.

A figure keeps its sign as a real plus or minus; "later" and "earlier" say the same in words, because a
sign alone is easily read the wrong way round.
"""

from __future__ import annotations

import math

from lagline.amounts import MINUS
from lagline.desk.amounts import Unit, number_text
from lagline.session.findings import Sureness
from lagline.units import metres_to_feet, samples_to_metres, samples_to_ms

NOTHING = "—"
SAME_SAMPLES = 0.005  # below this two places are written, and treated, as the same


def signed(value: float, decimals: int) -> str:
    """A number with its sign; zero has none."""
    return number_text(value, decimals, signed=True)


def decimals_for(uncertainty_samples: float | None) -> int:
    """Decimals worth writing for an arrival known to within `uncertainty_samples`."""
    if uncertainty_samples is None or uncertainty_samples <= 0 or not math.isfinite(uncertainty_samples):
        return 2
    return min(max(1 - math.floor(math.log10(uncertainty_samples)), 0), 3) if uncertainty_samples < 5 else 0


def samples_text(samples: float, uncertainty_samples: float | None = None) -> str:
    """`+101.37 ± 0.05 samples`."""
    decimals = min(decimals_for(uncertainty_samples), 2)
    text = signed(samples, decimals)
    if uncertainty_samples is not None and math.isfinite(uncertainty_samples):
        text += f" ± {uncertainty_samples:.{max(decimals, 1 if uncertainty_samples < 1 else 0)}f}"
    return f"{text} samples"


def ms_text(samples: float, rate_hz: float) -> str:
    """`+2.112 ms`."""
    return f"{signed(samples_to_ms(samples, rate_hz), 3)} ms"


def distance_text(samples: float, rate_hz: float, temperature_c: float, unit: Unit = "samples") -> str:
    """The way sound goes in that time, without sign: `72.5 cm`, `3.42 m`; `28.5 in`, `11.2 ft` for those
    who chose feet or inches."""
    metres = abs(samples_to_metres(samples, rate_hz, temperature_c))
    if unit in ("ft", "in"):
        feet = metres_to_feet(metres)
        return f"{feet:.2f} ft" if feet >= 3.0 else f"{12 * feet:.1f} in"
    return f"{metres:.2f} m" if metres >= 1.0 else f"{100 * metres:.1f} cm"


def sooner_or_later(samples: float) -> str:
    """The sign of an arrival in words."""
    if abs(samples) < SAME_SAMPLES:
        return "at the same time"
    return "later" if samples > 0 else "earlier"


def way_in_words(samples: float, rate_hz: float, temperature_c: float, unit: Unit = "samples") -> str:
    """`72.5 cm earlier`; without the way where it would be written as none: `at the same time`."""
    way, sense = distance_text(samples, rate_hz, temperature_c, unit), sooner_or_later(samples)
    return sense if way.startswith("0.0 ") else f"{way} {sense}"


def polarity_text(polarity: int | None, sureness: Sureness = "sure") -> str:
    """In words, as firmly as it is known."""
    if polarity is None or sureness == "unclear":
        return "polarity unclear"
    word = "inverted" if polarity < 0 else "as anchor"
    return f"probably {word}" if sureness == "probable" else word


def place_text(samples: float, rate_hz: float, temperature_c: float, unit: Unit = "samples") -> str:
    """One line for a place on a time axis: samples, ms, way of sound, sooner or later."""
    return (
        f"{signed(samples, 2)} samples · {ms_text(samples, rate_hz)} · "
        f"{way_in_words(samples, rate_hz, temperature_c, unit)}"
    )


def frequency_text(frequency_hz: float) -> str:
    """`63 Hz`, `1.25 kHz`."""
    if frequency_hz < 1000:
        return f"{frequency_hz:.0f} Hz" if frequency_hz >= 100 else f"{frequency_hz:.3g} Hz"
    return f"{frequency_hz / 1000:.3g} kHz"


def clock_text(time_s: float) -> str:
    """`1:02.35`, with hours only when there are any; a minus before session time 0."""
    sign = MINUS if time_s < 0 else ""
    hundredths = round(abs(time_s) * 100)
    minutes, rest = divmod(hundredths, 6000)
    hours, minutes = divmod(minutes, 60)
    seconds = f"{rest / 100:05.2f}"
    return f"{sign}{hours}:{minutes:02d}:{seconds}" if hours else f"{sign}{minutes}:{seconds}"
