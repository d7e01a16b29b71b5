"""The tape measure against the sound: what a plan expected, what the recordings say, why they differ."""

from __future__ import annotations

import math
from typing import Literal

from msgspec import Struct

from lagline.jobs.air import temperature_for_speed
from lagline.jobs.plan import heard_s, speed_m_s
from lagline.session.findings import Alignment
from lagline.session.plan import Plan
from lagline.session.values import Session
from lagline.units import METRES_PER_FOOT, ms_to_samples, samples_to_ms

TAPE_ERROR_M = 0.03  # of each distance: how well a microphone and an instrument can be taped
AIR_ERROR_C = 3.0  # how well the room's temperature is known
BUFFERS = (32, 64, 128, 256, 512, 1024, 2048)  # usual block sizes of converters and plug-ins: common practice

Cause = Literal["agrees", "latency", "wrong lane", "units", "temperature", "unexplained", "not measured"]


class Comparison(Struct, frozen=True):
    """One lane: expected and found arrival against the same anchor, samples at the session's rate.

    `difference_samples`: found - expected, positive = later than the tape says. Found and difference are None
    where nothing was measured.
    """

    name: str
    expected_samples: float
    found_samples: float | None
    difference_samples: float | None
    tolerance_samples: float
    cause: Cause
    is_flipped: bool  # found the other way up than planned
    sentence: str


def tape_against_sound(plan: Plan, session: Session, alignment: Alignment) -> tuple[Comparison, ...]:
    """Compare a plan with the findings of a take, lane by lane, lanes matched by name (capitals ignored).

    Expectations are taken against the alignment's anchor; when the plan doesn't know that lane, against
    the first lane that both know. Lanes that only one of the two knows are left out.

    The tolerance of a lane allows for the tape (3 cm at each end), the air (3 degrees C) and the finding's
    own uncertainty.
    """
    rate = session.rate_hz
    planned = {lane.name.casefold(): lane for lane in plan.lanes}
    found = {}
    polarity = {}
    spread = {}
    for finding in alignment.findings:
        name = session.lane(finding.lane_id).name.casefold()
        if name in planned:
            found[name], polarity[name] = finding.arrival_samples, finding.polarity
            spread[name] = finding.uncertainty_samples or 0.0
    if not found:
        return ()
    anchor = session.lane(alignment.anchor_id).name.casefold()
    if anchor not in planned:
        anchor = next((name for name in found if found[name] is not None), next(iter(found)))
    zero = found.get(anchor) or 0.0
    expected = {
        name: (heard_s(plan, planned[name]) - heard_s(plan, planned[anchor])) * rate for name in found
    }
    heard = {name: None if value is None else value - zero for name, value in found.items()}
    tolerance = {name: math.hypot(_tolerance(plan, name, anchor, rate), spread[name]) for name in found}
    gaps = {name: value - expected[name] for name, value in heard.items() if value is not None}
    shared = _shared_cause(plan, gaps, expected, tolerance, anchor, rate)
    turn = polarity.get(anchor) or 1
    rows = []
    for name in found:
        lane, gap = planned[name], gaps.get(name)
        sign = polarity[name]
        planned_sign = lane.polarity * planned[anchor].polarity
        flipped = sign is not None and gap is not None and sign * turn != planned_sign
        cause, said = _why(name, gap, expected, heard, tolerance, shared, rate)
        if flipped:
            said += " It is the other way up than planned: look for a turned cable or switch."
        rows.append(
            Comparison(
                name=lane.name,
                expected_samples=expected[name],
                found_samples=heard[name],
                difference_samples=gap,
                tolerance_samples=tolerance[name],
                cause=cause,
                is_flipped=flipped,
                sentence=f"{lane.name}: {said}",
            )
        )
    return tuple(rows)


def _tolerance(plan: Plan, name: str, anchor: str, rate_hz: float) -> float:
    """Samples by which tape and air may be wrong."""
    if name == anchor:
        return 0.0
    lanes = [plan.lane(name), plan.lane(anchor)]
    taped = [lane for lane in lanes if not lane.is_direct_line]
    way_m = abs(plan.distance_m(lanes[0]) - plan.distance_m(lanes[1]))
    air = 0.5 * AIR_ERROR_C / (plan.temperature_c + 273.15)  # c goes with the root of the temperature
    metres = math.hypot(TAPE_ERROR_M * math.sqrt(len(taped)), way_m * air)
    return max(metres / speed_m_s(plan) * rate_hz, 0.5)


class _Shared(Struct, frozen=True):
    cause: Cause
    sentence: str


def _shared_cause(
    plan: Plan,
    gaps: dict[str, float],
    expected: dict[str, float],
    tolerance: dict[str, float],
    anchor: str,
    rate_hz: float,
) -> _Shared | None:
    """One explanation of all differences together: wrong units of length, or another temperature."""
    lanes = {lane.name.casefold(): lane for lane in plan.lanes}
    names = [n for n in gaps if n != anchor and not lanes[n].is_direct_line]
    if lanes[anchor].is_direct_line or len(names) < 2 or all(abs(gaps[n]) <= tolerance[n] for n in names):
        return None
    latency = {n: ms_to_samples(lanes[n].latency_ms - lanes[anchor].latency_ms, rate_hz) for n in names}
    air = {n: expected[n] - latency[n] for n in names}
    power = sum(air[n] ** 2 for n in names)
    if power == 0.0:
        return None
    scale = sum(air[n] * (air[n] + gaps[n]) for n in names) / power
    if any(abs(air[n] * (scale - 1) - gaps[n]) > tolerance[n] for n in names) or scale <= 0:
        return None
    for factor, said in (
        (METRES_PER_FOOT, "distances typed in feet were taken for metres"),
        (1 / METRES_PER_FOOT, "distances typed in metres were taken for feet"),
        (0.01, "distances typed in centimetres were taken for metres"),
    ):
        if abs(scale / factor - 1) < 0.05:
            return _Shared("units", f"All distances are off by one factor, {scale:.3f}: {said}.")
    implied_c = temperature_for_speed(speed_m_s(plan) / scale)
    if -20 <= implied_c <= 45:
        return _Shared(
            "temperature",
            f"All distances are off by one factor, {scale:.3f}, as if the air had {implied_c:.0f} degrees C "
            f"instead of {plan.temperature_c:.0f}: check the temperature, or the scale of the tape.",
        )
    return None


def _why(
    name: str,
    gap: float | None,
    expected: dict[str, float],
    heard: dict[str, float | None],
    tolerance: dict[str, float],
    shared: _Shared | None,
    rate_hz: float,
) -> tuple[Cause, str]:
    if gap is None:
        return "not measured", "nothing could be measured, so the tape has nothing to be compared with."
    if abs(gap) <= tolerance[name]:
        return "agrees", f"sound and tape agree within {max(abs(gap), 0.1):.1f} samples."
    size = (
        f"heard {abs(gap):.1f} samples ({abs(samples_to_ms(gap, rate_hz)):.2f} ms) "
        f"{'later' if gap > 0 else 'earlier'} than the tape says."
    )
    other = _swapped_with(name, expected, heard, tolerance)
    if other is not None:
        return (
            "wrong lane",
            f"{size} It fits the place of {other}, and {other} fits its place: are they swapped?",
        )
    if shared is not None:
        return shared.cause, f"{size} {shared.sentence}"
    if gap > 0:
        buffer = next((b for b in BUFFERS if abs(gap - b) <= min(tolerance[name], 0.12 * b)), None)
        if buffer is not None:
            said = (
                f"That is close to a block of {buffer} samples: look for a converter, radio link or plug-in."
            )
            return "latency", f"{size} {said}"
    return "unexplained", (
        f"{size} Tape it again, check that the lane is the right one, "
        f"and look for a fixed delay in its line; type it as latency if there is one."
    )


def _swapped_with(
    name: str, expected: dict[str, float], heard: dict[str, float | None], tolerance: dict[str, float]
) -> str | None:
    """A lane whose expectation this one meets, while that one meets this one's."""
    mine = heard[name]
    for other, theirs in heard.items():
        if other == name or theirs is None or mine is None:
            continue
        room = tolerance[name] + tolerance[other]
        apart = abs(expected[name] - expected[other]) > 2 * room
        if apart and abs(mine - expected[other]) <= room and abs(theirs - expected[name]) <= room:
            return other
    return None
