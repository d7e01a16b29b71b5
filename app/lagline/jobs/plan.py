"""What a plan predicts: arrivals, the comb of each pair and of the blend, what moving a mic would do.

Straight ways through still air from one small source. Rooms, large instruments and microphones add to it.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import ArrayLike, NDArray

from lagline.analysis.notches import PairComb, notch_level_db, pair_comb, peak_level_db
from lagline.jobs.air import speed_of_sound_in_moist_air
from lagline.session.plan import LATEST, Plan, PlannedLane
from lagline.session.setup import Setup, SetupLane
from lagline.session.values import Move, Session
from lagline.units import db_to_gain, ms_to_samples

FloatArray = NDArray[np.float64]

RULE_RATIO = 3.0  # the 3:1 rule: common practice, no source
NEAREST_M = 0.01  # a microphone nearer than this is taken to be this near where levels are compared
LOWEST_HZ, HIGHEST_HZ = 20.0, 20_000.0
DEEP_DB = -3.0  # a dip of the whole blend is listed from here
CANCELS_DB = -60.0  # below this a figure in dB says nothing: no stand is placed so exactly


class PlannedArrival(Struct, frozen=True):
    """When a lane will hear the source. Positive arrival: later than the anchor."""

    name: str
    distance_m: float
    heard_ms: float  # after the sound was made, the latency of its line included
    heard_samples: float
    arrival_samples: float
    arrival_ms: float
    arrival_m: float  # the same as a length of air
    distance_level_db: float  # fall by distance alone, against the nearest microphone; 0 for a direct line


class PlannedPair(Struct, frozen=True):
    """Two lanes in the blend as planned, before anything is shifted.

    `delay_samples`: how much later `b` hears the source than `a`, signed. `comb`: at the levels of the plan.
    The rest speaks of two microphones only and is None where a direct line is one of them:
    `distance_ratio`: farther over nearer distance from the source. `keeps_rule`: that ratio is 3 or more.
    `rule_notch_db`, `rule_peak_db`: of the comb that the fall of level with that ratio leaves at equal gain.
    """

    a: str
    b: str
    delay_samples: float
    delay_ms: float
    comb: PairComb
    distance_ratio: float | None
    keeps_rule: bool | None
    rule_notch_db: float | None
    rule_peak_db: float | None

    @property
    def rule_ripple_db(self) -> float | None:
        """From notch to peak with the fall of level over the distance alone."""
        if self.rule_notch_db is None or self.rule_peak_db is None:
            return None
        return self.rule_peak_db - self.rule_notch_db


class BlendDip(Struct, frozen=True):
    """A dip of the whole blend: where, and its level against the loudest lane alone."""

    frequency_hz: float
    level_db: float


class NotchMove(Struct, frozen=True):
    """A way to put a pair's notch at a wanted frequency: how far one microphone goes along its line."""

    name: str
    by_m: float  # positive: away from the source
    distance_m: float  # from the source, when moved


def speed_m_s(plan: Plan) -> float:
    """Speed of sound of the plan's air, humidity included. Raises ValueError outside what air is."""
    return speed_of_sound_in_moist_air(plan.temperature_c, plan.humidity_percent)


def heard_s(plan: Plan, lane: PlannedLane) -> float:
    """Time from the sound being made to its being in the lane, seconds."""
    return plan.distance_m(lane) / speed_m_s(plan) + lane.latency_ms / 1000.0


def anchor_of(plan: Plan) -> PlannedLane | None:
    """The lane that the others are measured against; None in a plan without lanes. Raises NotInSession."""
    if plan.anchor == LATEST:
        return max(plan.lanes, key=lambda lane: heard_s(plan, lane), default=None)
    return plan.lane(plan.anchor)


def arrivals(plan: Plan) -> tuple[PlannedArrival, ...]:
    """When each lane hears the source, in the order of the plan."""
    anchor = anchor_of(plan)
    if anchor is None:
        return ()
    against_s = heard_s(plan, anchor)
    microphones = [lane for lane in plan.lanes if not lane.is_direct_line]
    nearest_m = min((max(plan.distance_m(lane), NEAREST_M) for lane in microphones), default=NEAREST_M)
    found = []
    for lane in plan.lanes:
        time_s, way_m = heard_s(plan, lane), plan.distance_m(lane)
        later_s = time_s - against_s
        fall_db = 0.0 if lane.is_direct_line else 0.0 - _fall_db(nearest_m, way_m)
        found.append(
            PlannedArrival(
                name=lane.name,
                distance_m=way_m,
                heard_ms=1000 * time_s,
                heard_samples=time_s * plan.rate_hz,
                arrival_samples=later_s * plan.rate_hz,
                arrival_ms=1000 * later_s,
                arrival_m=later_s * speed_m_s(plan),
                distance_level_db=fall_db,
            )
        )
    return tuple(found)


def pairs(plan: Plan) -> tuple[PlannedPair, ...]:
    """Every two lanes of the plan, each once."""
    return tuple(_pair(plan, a, b) for a, b in itertools.combinations(plan.lanes, 2))


def blend_db(plan: Plan, frequency_hz: ArrayLike) -> FloatArray:
    """Level of the whole blend against its loudest lane alone, dB, at each frequency.

    `|sum of g exp(-j 2 pi f t)|`: every lane at its level, polarity and time. -inf where it cancels wholly;
    0 everywhere in a plan without lanes.
    """
    hz = np.asarray(frequency_hz, dtype=np.float64)
    if not plan.lanes:
        return np.zeros_like(hz)
    first_s = min(heard_s(plan, lane) for lane in plan.lanes)  # a common delay changes no level
    total = np.zeros(hz.shape, dtype=np.complex128)
    for lane in plan.lanes:
        turn = np.exp(-2j * np.pi * hz * (heard_s(plan, lane) - first_s))
        total += lane.polarity * db_to_gain(lane.level_db) * turn
    loudest_db = max(lane.level_db for lane in plan.lanes)
    with np.errstate(divide="ignore"):
        level: FloatArray = 20 * np.log10(np.abs(total)) - loudest_db
    return level


def blend_dips(
    plan: Plan,
    *,
    deeper_than_db: float = DEEP_DB,
    lowest_hz: float = LOWEST_HZ,
    highest_hz: float = HIGHEST_HZ,
) -> tuple[BlendDip, ...]:
    """The dips of the whole blend, ascending, that reach below `deeper_than_db` against the loudest lane.

    Found on a grid that is fine against the longest delay between two lanes (at least 24 points from one
    notch to the next), then placed by a parabola through the power.
    """
    times = [heard_s(plan, lane) for lane in plan.lanes]
    spread_s = max(times, default=0.0) - min(times, default=0.0)
    top = min(highest_hz, plan.rate_hz / 2)
    if spread_s * top < 1e-9 or top <= lowest_hz:
        return ()
    count = min(int(24 * (top - lowest_hz) * spread_s) + 1024, 4_000_000)
    hz = np.linspace(lowest_hz, top, count)
    power = 10 ** (blend_db(plan, hz) / 10)
    inner = np.flatnonzero((power[1:-1] < power[:-2]) & (power[1:-1] <= power[2:])) + 1
    left, here, right = power[inner - 1], power[inner], power[inner + 1]
    aside = np.clip(0.5 * (left - right) / (left - 2 * here + right), -0.5, 0.5)
    places = hz[inner] + aside * (hz[1] - hz[0])
    levels = blend_db(plan, places)
    return tuple(
        BlendDip(float(place), float(level))
        for place, level in zip(places, levels, strict=True)
        if level < deeper_than_db
    )


def moves_for_notch(
    plan: Plan, name: str, other: str, wanted_hz: float, notch: int = 1
) -> tuple[NotchMove, ...]:
    """How far the microphone `name` must go for its `notch`-th notch with `other` to lie at `wanted_hz`.

    Two answers where both exist, the shorter way first: the microphone hears the source later, or earlier,
    than the other lane. None for a direct line, which has no place.

    Raises
    ------
    NotInSession
        No lane of that name.
    ValueError
        The frequency is not positive, or the count of the notch not 1 or more.
    """
    if not wanted_hz > 0 or notch < 1:
        raise ValueError("a notch needs a frequency above 0 Hz and a number from 1")
    lane, fixed = plan.lane(name), plan.lane(other)
    if lane.is_direct_line:
        return ()
    same = lane.polarity * fixed.polarity > 0
    delay_s = (notch - 0.5 if same else float(notch)) / wanted_hz
    now_m, speed = plan.distance_m(lane), speed_m_s(plan)
    found = []
    for sign in (1, -1):
        air_s = heard_s(plan, fixed) + sign * delay_s - lane.latency_ms / 1000.0
        goal_m = air_s * speed
        if goal_m > 0:
            found.append(NotchMove(name=lane.name, by_m=goal_m - now_m, distance_m=goal_m))
    return tuple(sorted(found, key=lambda move: abs(move.by_m)))


def setup_of_plan(plan: Plan) -> Setup:
    """A setup to start the take from: the shifts and flips that line its lanes up as planned."""
    anchor = anchor_of(plan)
    polarity = {lane.name: lane.polarity for lane in plan.lanes}
    return Setup(
        name=plan.name,
        rate_hz=plan.rate_hz,
        lanes=tuple(
            SetupLane(lane.name, Move(shift_samples=0.0 - lane.arrival_samples, polarity=polarity[lane.name]))
            for lane in arrivals(plan)
        ),
        anchor=None if anchor is None else anchor.name,
        temperature_c=plan.temperature_c,
        notes=plan.notes,
    )


def lanes_of_take(plan: Plan, session: Session) -> Plan:
    """The plan with a lane for each lane of a take, in its order; lanes it knows already keep what they have.

    New ones stand a metre from the source, side by side: tape them and type the distance.
    """
    known = {lane.name.casefold(): lane for lane in plan.lanes}
    x, y, z = plan.source_m
    lanes = []
    for number, lane in enumerate(session.lanes):
        turn = math.radians(20) * (number - (len(session.lanes) - 1) / 2)
        place = (x + math.sin(turn), y + math.cos(turn), z)
        lanes.append(known.get(lane.name.casefold(), PlannedLane(lane.name, place)))
    kept = any(lane.name.casefold() == plan.anchor.casefold() for lane in lanes)
    return replace(
        plan,
        name=session.name,
        lanes=tuple(lanes),
        anchor=plan.anchor if kept else LATEST,
        rate_hz=session.rate_hz,
        temperature_c=session.temperature_c,
    )


def _pair(plan: Plan, a: PlannedLane, b: PlannedLane) -> PlannedPair:
    delay_s = heard_s(plan, b) - heard_s(plan, a)
    comb = pair_comb(delay_s * plan.rate_hz, plan.rate_hz, b.level_db - a.level_db, a.polarity * b.polarity)
    ratio = notch_db = peak_db = None
    if not (a.is_direct_line or b.is_direct_line):
        near_m, far_m = sorted(max(plan.distance_m(lane), NEAREST_M) for lane in (a, b))
        ratio = far_m / near_m
        fall_db = _fall_db(near_m, far_m)
        notch_db, peak_db = notch_level_db(fall_db), peak_level_db(fall_db)
    return PlannedPair(
        a=a.name,
        b=b.name,
        delay_samples=ms_to_samples(1000 * delay_s, plan.rate_hz),
        delay_ms=1000 * delay_s,
        comb=comb,
        distance_ratio=ratio,
        keeps_rule=None if ratio is None else ratio >= RULE_RATIO * (1 - 1e-9),
        rule_notch_db=notch_db,
        rule_peak_db=peak_db,
    )


def _fall_db(near_m: float, far_m: float) -> float:
    """By how much a small source is quieter at the farther place, free field."""
    return 20 * math.log10(max(far_m, NEAREST_M) / max(near_m, NEAREST_M))
