"""Findings in plain words. Lanes go by their names, distances by the session's air temperature."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from lagline.session.findings import polarity_sureness
from lagline.units import samples_to_metres, samples_to_ms

FARTHEST_S = 0.25  # 86 m of air: no microphone of one take stands farther


def is_air(samples: float, rate_hz: float) -> bool:
    """Whether an arrival can be a way in air; else the recordings did not start together."""
    return abs(samples) <= FARTHEST_S * rate_hz


def way(samples: float, rate_hz: int, temperature_c: float) -> str:
    """A way in air in the unit one would say it in."""
    metres = abs(samples_to_metres(samples, rate_hz, temperature_c))
    if metres < 0.01:
        return f"{1000 * metres:.0f} mm"
    if metres < 1:
        return f"{100 * metres:.0f} cm"
    return f"{metres:.1f} m"


def arrival(lane: str, anchor: str, samples: float, rate_hz: int, temperature_c: float) -> str:
    """Who hears the source when."""
    if abs(samples) < 0.05:
        return f"{lane} hears the source together with {anchor}."
    when = "after" if samples > 0 else "before"
    if not is_air(samples, rate_hz):
        return (
            f"{lane} hears the source {abs(samples) / rate_hz:.4f} s {when} {anchor}: "
            f"{abs(samples):.1f} samples, farther than any microphone stands: "
            "the two recordings did not start together."
        )
    return (
        f"{lane} hears the source {abs(samples_to_ms(samples, rate_hz)):.2f} ms {when} {anchor}: "
        f"{abs(samples):.1f} samples, about {way(samples, rate_hz, temperature_c)} of air."
    )


def polarity(lane: str, anchor: str, sign: int | None, trust: float, is_rotated: bool) -> str:
    """Whether the lane is upside down, as far as that is known."""
    if is_rotated:
        return "Its phase is turned across the band, so polarity is not a yes-or-no here; the ear decides."
    sureness = polarity_sureness(sign, trust)
    if sign is None or sureness == "unclear":
        return "Its polarity is unclear; try both."
    if sign > 0:
        return ""
    if sureness == "probable":
        return f"{lane} is probably inverted."
    return f"{lane} is inverted against {anchor}."


def drift(lane: str, anchor: str, ppm: float, sigma_ppm: float | None, rate_hz: int) -> str:
    """Two clocks."""
    if ppm == 0:
        return ""
    side = "later" if ppm > 0 else "earlier"
    sure = "" if sigma_ppm is None else f" (give or take {max(sigma_ppm, 0.01):.2f})"
    return (
        f"Its clock is not the one of {anchor}: {lane} gets {abs(ppm) * rate_hz * 1e-6:.2f} samples {side} "
        f"each second, {abs(ppm):.2f} ppm{sure}. The arrival given is the one at the start."
    )


def movement(samples: float, rate_hz: int) -> str:
    """A source or microphone that does not stay where it is."""
    if samples <= 0:
        return ""
    return f"Its arrival walks over {samples_to_ms(samples, rate_hz):.2f} ms in the take: see it over time."


def agreement(agreeing: int, used: int, is_attacks: bool) -> str:
    """How many of the `used` attacks or passages agree with the answer."""
    if used < 2:
        return "It rests on a single attack." if is_attacks else "It rests on a single passage."
    return f"{agreeing} of {used} {'attacks' if is_attacks else 'passages'} agree."


def rests_on(kind: str) -> str:
    """Who placed the lane, where it was not all lanes together (`Ruling.kind`)."""
    words = {
        "whole": "One witness alone places it: the phase transform of one stretch.",
        "windowed": "One witness alone places it: the phase transform over many windows.",
        "first sound": "It is placed by first sounds alone.",
        "first sounds": "It is placed by first sounds alone.",
        "apart": "It is placed by what it holds more of than any other lane.",
        "own strokes": "It is placed by its own strokes.",
        "source": "It is placed by the strokes of one instrument.",
    }
    return words.get(kind, "")


def by_source(heard: Sequence[tuple[str, float]], taken: str | None, *, is_own: bool) -> str:
    """Where each instrument would put the lane, samples, and by which it goes."""
    listed = ", ".join(f"{name} {samples:+.0f}" for name, samples in heard)
    goes = "its own instrument" if is_own else taken
    ends = f"it goes by {goes}." if goes is not None else "it goes by none of them alone."
    return f"Each instrument puts it elsewhere ({listed} samples); {ends}"


def apart(taken: Mapping[str, Sequence[str]]) -> str:
    """Lanes that go by different instruments, by the instrument's name."""
    listed = "; ".join(f"{', '.join(lanes)} by {name}" for name, lanes in taken.items())
    return f"Not all go by one instrument ({listed}), and no shift suits every one: choose one to line up on."


def two_readings(first_sound: float, best_fit: float, rate_hz: int) -> str:
    """First sound and best fit apart."""
    apart = samples_to_ms(best_fit - first_sound, rate_hz)
    side = "later" if apart > 0 else "earlier"
    return (
        f"It adds best {abs(apart):.2f} ms ({abs(best_fit - first_sound):.1f} samples) {side} "
        f"than its first sound: try both by ear."
    )


def none(lane: str, anchor: str, is_silent: bool, is_anchor_silent: bool = False) -> str:
    """Why nothing is proposed for a lane."""
    if is_silent:
        return f"{lane} is silent here, so there is nothing to measure. Check the recording, or mute it."
    if is_anchor_silent:
        return f"{anchor} is silent here, so nothing can be measured against it. Choose another lane."
    return (
        f"{lane} has nothing in common with {anchor} that can be trusted, so nothing is proposed. "
        f"Check that it belongs to this take, or place it by ear."
    )


def anchor(lane: str) -> str:
    """What is said of the anchor itself."""
    return f"{lane} is the anchor: the others are measured against it."
