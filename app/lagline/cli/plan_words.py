"""Lanes of a plan as typed in a terminal: near=0.5m, far=20ft@-3, di=4.4ms, hall=1,6,2.5."""

from __future__ import annotations

import re

import typer

from lagline.amounts import METRES, NotAnAmount, amount_of, metres_of, ms_of
from lagline.session.plan import Plan, PlannedLane, Point


def planned_lane(text: str, rate_hz: int) -> PlannedLane:
    """One lane: NAME=PARTS[@LEVEL], the parts joined by `+`.

    A part with a unit of length is the distance from the source, one with ms or samples the latency of
    the line, three numbers with commas the place in metres. A lane with a latency only is a direct line.

    Raises typer.BadParameter.
    """
    name, equals, rest = text.partition("=")
    name, (amounts, at, level) = name.strip(), rest.partition("@")
    if not (name and equals and amounts.strip()):
        raise typer.BadParameter(
            f"{text!r} is no lane; write NAME=DISTANCE, for example far=6.3m or di=4.4ms"
        )
    place: Point | None = None
    distance_m: float | None = None
    latency_ms = 0.0
    for part in re.split(r"\+(?=\s*[\d.])", amounts):
        if "," in part and part.strip()[-1:].isdigit():
            place = point(part, text)
            continue
        try:
            metres, more_ms = _length_or_latency(part, rate_hz)
        except NotAnAmount as error:
            raise typer.BadParameter(f"in {text!r}: {error}") from error
        latency_ms += more_ms
        if metres is not None:
            distance_m = metres
            if distance_m < 0:
                raise typer.BadParameter(f"the distance in {text!r} is negative; write how far away it is")
    try:
        level_db = float(level.strip().lower().removesuffix("db")) if at else 0.0
    except ValueError as error:
        raise typer.BadParameter(
            f"{level!r} in {text!r} is no level; write dB, for example {name}=1m@-6"
        ) from error
    return PlannedLane(
        name=name,
        place_m=place,
        distance_m=None if place else distance_m,
        latency_ms=latency_ms,
        level_db=level_db,
    )


def _length_or_latency(text: str, rate_hz: int) -> tuple[float | None, float]:
    """Metres from the source, and milliseconds of the line; one of them is None or 0. Raises NotAnAmount."""
    (_, unit), *_ = amount_of(text, "m")
    return (metres_of(text), 0.0) if unit in METRES else (None, ms_of(text, None, rate_hz))


def point(text: str, whole: str | None = None) -> Point:
    """Three numbers with commas, metres. Raises typer.BadParameter."""
    try:
        x, y, z = (float(part) for part in text.split(","))
    except ValueError as error:
        raise typer.BadParameter(
            f"{whole or text!r} holds no place; write x,y,z in metres: 1,6,2.5"
        ) from error
    return x, y, z


def notch_wish(text: str, plan: Plan) -> tuple[str, str, float]:
    """NAME:OTHER@HZ: where the first notch of these two is wanted. Raises BadParameter, NotInSession."""
    names, _, hertz = text.rpartition("@")
    name, _, other = names.partition(":")
    try:
        wanted_hz = float(hertz.lower().removesuffix("hz"))
    except ValueError as error:
        raise typer.BadParameter(f"{text!r}: write NAME:OTHER@HZ, for example far:near@80") from error
    if not (name.strip() and other.strip() and wanted_hz > 0):
        raise typer.BadParameter(f"{text!r}: write NAME:OTHER@HZ, for example far:near@80")
    return plan.lane(name.strip()).name, plan.lane(other.strip()).name, wanted_hz
