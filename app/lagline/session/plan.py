"""A plan: where source and microphones will stand, before anything is recorded. Values and their file.

The file is UTF-8 JSON: `{"schema": "lagline/plan", "version": 1, ...}` and the fields of `Plan`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct, field
from msgspec.structs import replace

from lagline.errors import NotInSession, SessionUnreadable
from lagline.session.documents import (
    DocumentKind,
    read_document,
    with_unknown_apart,
    with_unknown_back,
    write_document,
)
from lagline.units import DEFAULT_TEMPERATURE_C

SUFFIX = ".lagline-plan"
KIND = DocumentKind("plan", "lagline/plan", version=1, largest_bytes=16 * 2**20)
DEFAULT_HUMIDITY_PERCENT = 50.0
LATEST = "latest"  # instead of a lane's name: whichever hears the source last
FARTHEST_M = 10_000.0
BESIDE_M, A_COLUMN = 0.5, 4  # new microphones stand so far apart, so many in a column
COLDEST_C, WARMEST_C = -60.0, 60.0  # air in which the speed of sound with humidity is known well enough

Point = tuple[float, float, float]


class PlannedLane(Struct, frozen=True):
    """A microphone at a place, or at a typed distance without a place, or (with neither) a direct line."""

    name: str
    place_m: Point | None = None  # x to the right, y away from us, z up
    distance_m: float | None = None  # from the source, where no place is given
    latency_ms: float = 0.0  # fixed delay of its line: converter, radio link, plug-in
    level_db: float = 0.0  # of the source in the blend through this lane
    polarity: int = 1  # -1: known to be inverted

    @property
    def is_direct_line(self) -> bool:
        """Whether it hears the source through a cable, with no air between."""
        return self.place_m is None and self.distance_m is None


class Plan(Struct, frozen=True):
    """One source and the lanes that will hear it."""

    lanes: tuple[PlannedLane, ...] = ()
    name: str = "Untitled plan"
    source_m: Point = (0.0, 0.0, 1.0)
    temperature_c: float = DEFAULT_TEMPERATURE_C
    humidity_percent: float = DEFAULT_HUMIDITY_PERCENT
    rate_hz: int = 48_000
    anchor: str = LATEST
    notes: str = ""
    extra: dict[str, Any] = field(default_factory=dict)  # unknown keys of the file, kept

    def lane(self, name: str) -> PlannedLane:
        """The lane of that name, capitals ignored. Raises NotInSession."""
        for lane in self.lanes:
            if lane.name.casefold() == name.casefold():
                return lane
        raise NotInSession("lane", name, (lane.name for lane in self.lanes))

    def distance_m(self, lane: PlannedLane) -> float:
        """From the source to a microphone in a straight line; 0 for a direct line."""
        if lane.place_m is not None:
            return math.dist(self.source_m, lane.place_m)
        return lane.distance_m or 0.0


def with_planned_lane(plan: Plan, lane: PlannedLane, instead_of: str | None = None) -> Plan:
    """The plan with a lane added, or put in the place of the lane called `instead_of`.

    Raises NotInSession when there is none of that name, ValueError when another lane has the new name.
    """
    old = None if instead_of is None else plan.lane(instead_of)
    if any(other.name.casefold() == lane.name.casefold() for other in plan.lanes if other is not old):
        raise ValueError(f"another lane is called {lane.name}; give this one a name of its own")
    if old is None:
        return replace(plan, lanes=(*plan.lanes, lane))
    anchor = lane.name if plan.anchor.casefold() == old.name.casefold() else plan.anchor
    return replace(plan, lanes=tuple(lane if x is old else x for x in plan.lanes), anchor=anchor)


def free_place(plan: Plan) -> Point:
    """Where a further microphone may stand: near the source and at its height, beside those already there."""
    x, y, z = plan.source_m
    taken = [plan.source_m, *(lane.place_m for lane in plan.lanes if lane.place_m is not None)]
    places = (
        (round(x + 0.6 + column * BESIDE_M, 3), round(y + 0.8 + row * BESIDE_M, 3), z)
        for column in range(len(taken) + 1)
        for row in range(A_COLUMN)  # one behind the other: names stand to the right
    )
    # What stands anywhere takes at most four places of this grid, so one is always left.
    return next(at for at in places if all(math.dist(at[:2], one[:2]) >= 0.8 * BESIDE_M for one in taken))


def without_planned_lane(plan: Plan, name: str) -> Plan:
    """The plan without a lane; when it was the anchor, the latest is again. Raises NotInSession."""
    gone = plan.lane(name)
    anchor = LATEST if plan.anchor.casefold() == gone.name.casefold() else plan.anchor
    return replace(plan, lanes=tuple(lane for lane in plan.lanes if lane is not gone), anchor=anchor)


def with_distance(plan: Plan, name: str, distance_m: float) -> Plan:
    """The plan with a microphone moved along its line from the source to a new distance.

    A microphone that stands on the source itself moves straight away from us (y). Raises NotInSession.
    """
    lane = plan.lane(name)
    if lane.place_m is None:
        return with_planned_lane(plan, replace(lane, distance_m=distance_m), name)
    now_m = plan.distance_m(lane)
    way = (0.0, 1.0, 0.0)
    if now_m > 0:
        x, y, z = ((to - at) / now_m for to, at in zip(lane.place_m, plan.source_m, strict=True))
        way = (x, y, z)
    x, y, z = (at + distance_m * step for at, step in zip(plan.source_m, way, strict=True))
    return with_planned_lane(plan, replace(lane, place_m=(x, y, z)), name)


def save_plan(plan: Plan, path: Path) -> None:
    """Write a plan whole or not at all. Raises CannotWrite."""
    write_document(path, with_unknown_back(msgspec.to_builtins(plan)), KIND)


def load_plan(path: Path) -> Plan:
    """Read a plan file. Raises FileMissing, NoPermission, SessionUnreadable, SessionTooNew."""
    try:
        plan = msgspec.convert(with_unknown_apart(read_document(path, KIND), Plan), Plan)
    except msgspec.ValidationError as error:
        raise SessionUnreadable(path, str(error), KIND.word) from error
    found = problem(plan)
    if found:
        raise SessionUnreadable(path, found, KIND.word)
    return plan


def problem(plan: Plan) -> str | None:
    """What makes no sense in a plan, in words; None when all is well."""
    if not 1 <= plan.rate_hz <= 10_000_000:
        return f"a rate of {plan.rate_hz} Hz makes no sense"
    if not COLDEST_C <= plan.temperature_c <= WARMEST_C:
        known = f"choose {COLDEST_C:.0f} to {WARMEST_C:.0f}"
        return f"{plan.temperature_c} degrees C is not the air of a room; {known}"
    if not 0 <= plan.humidity_percent <= 100:
        return f"a humidity of {plan.humidity_percent} % makes no sense"
    names = [lane.name.casefold() for lane in plan.lanes]
    if len(set(names)) != len(names):
        return "two lanes have the same name"
    if plan.anchor != LATEST and plan.anchor.casefold() not in names:
        return f"its anchor {plan.anchor} is not among its lanes"
    if not all(abs(metres) <= FARTHEST_M for metres in _metres(plan)):
        return "a place lies farther away than sound carries, or is not a number"
    for lane in plan.lanes:
        if lane.polarity not in (1, -1):
            return f"the polarity of {lane.name} is neither 1 nor -1"
        if not (abs(lane.latency_ms) <= 1e6 and abs(lane.level_db) <= 200):
            return f"the latency or level of {lane.name} makes no sense"
        if lane.distance_m is not None and lane.distance_m < 0:
            return f"the distance of {lane.name} is negative"
    return None


def _metres(plan: Plan) -> Iterator[float]:
    yield from plan.source_m
    for lane in plan.lanes:
        yield from lane.place_m or ()
        yield lane.distance_m or 0.0
