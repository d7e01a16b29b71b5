"""A setup: a version's shifts, flips and balance by lane name, kept to apply to other takes of the same
microphones.

The file is UTF-8 JSON: `{"schema": "lagline/setup", "version": 1, ...}` and the fields of `Setup`.
"""

from __future__ import annotations

import fnmatch
import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

import msgspec
from msgspec import Struct, field
from msgspec.structs import replace

from lagline.errors import SessionUnreadable
from lagline.session.checks import LARGEST_GAIN_DB
from lagline.session.documents import (
    DocumentKind,
    read_document,
    with_unknown_apart,
    with_unknown_back,
    write_document,
)
from lagline.session.edits import with_balances, with_move
from lagline.session.trying import kept
from lagline.session.values import Balance, Move, Session, Version
from lagline.units import DEFAULT_TEMPERATURE_C

SUFFIX = ".lagline-setup"
KIND = DocumentKind("setup", "lagline/setup", version=1, largest_bytes=16 * 2**20)


class SetupLane(Struct, frozen=True):
    """What the setup does to lanes of one name."""

    name: str
    move: Move  # shift in samples at the setup's rate
    pattern: str = ""  # file-name pattern (* and ?) that other takes' lanes are matched by; else the name
    balance: Balance | None = None  # None: the take keeps its own


MatchedBy = Literal["pattern", "name", "part of the name"]


class Match(Struct, frozen=True):
    """The lane of the setup that a lane of a take is, and what told so."""

    known: SetupLane
    by: MatchedBy


class Setup(Struct, frozen=True):
    """Shifts and flips by lane name, kept to apply to other takes; shifts in samples at `rate_hz`."""

    name: str
    rate_hz: int
    lanes: tuple[SetupLane, ...]
    anchor: str | None = None  # lane name
    temperature_c: float = DEFAULT_TEMPERATURE_C
    notes: str = ""
    extra: dict[str, Any] = field(default_factory=dict)  # unknown keys of the file, kept


def setup_of(
    session: Session, version: Version, name: str, patterns: Mapping[str, str] | None = None
) -> Setup:
    """A version by lane name; `patterns` are name patterns by lane id."""
    anchor = None if session.anchor_id is None else session.lane(session.anchor_id).name
    return Setup(
        name=name,
        rate_hz=session.rate_hz,
        lanes=tuple(
            SetupLane(
                lane.name,
                version.move(lane.id),
                (patterns or {}).get(lane.id, "").strip(),
                version.balance(lane.id),
            )
            for lane in session.lanes
        ),
        anchor=anchor,
        temperature_c=session.temperature_c,
        notes=version.note,
    )


def matched_lanes(setup: Setup, session: Session) -> dict[str, SetupLane]:
    """`found_matches` without what told so."""
    return {lane_id: match.known for lane_id, match in found_matches(setup, session).items()}


def found_matches(setup: Setup, session: Session) -> dict[str, Match]:
    """Which lane of the setup each lane of the take is, by lane id; lanes without a match are left out.

    First by pattern or by the very name, capitals ignored; then by what is left of the names when the
    words all lanes of a take have in common (`song2_take3_...`) are taken off both ends. A name that would
    fit two ways is not matched.
    """
    pairs: dict[str, Match] = {}
    for lane in session.lanes:
        fits = [known for known in setup.lanes if fits_name(known, lane.name)]
        if len(fits) == 1:
            pairs[lane.id] = Match(fits[0], "pattern" if fits[0].pattern else "name")
    rest = [lane for lane in session.lanes if lane.id not in pairs]
    unused = [known for known in setup.lanes if all(known is not match.known for match in pairs.values())]
    cores = dict(
        zip((lane.id for lane in session.lanes), _cores([x.name for x in session.lanes]), strict=True)
    )
    known_cores = dict(zip((x.name for x in setup.lanes), _cores([x.name for x in setup.lanes]), strict=True))
    for lane in rest:
        fits = [known for known in unused if known_cores[known.name] == cores[lane.id] != ()]
        rivals = [other for other in rest if cores[other.id] == cores[lane.id]]
        if len(fits) == 1 and len(rivals) == 1:
            pairs[lane.id] = Match(fits[0], "part of the name")
    return pairs


def applied(setup: Setup, session: Session, matches: dict[str, SetupLane]) -> Session:
    """The session with the setup's moves, scaled to the session's rate, and balance in its current version.

    Lanes that are not in `matches` stay as they are.
    """
    scale = session.rate_hz / setup.rate_hz
    for lane_id, known in matches.items():
        there = replace(known.move, shift_samples=known.move.shift_samples * scale)
        session = kept(with_move(session, lane_id, there, by="setup"), lane_id)
    balances = {lane_id: known.balance for lane_id, known in matches.items() if known.balance is not None}
    return with_balances(session, balances)


def save_setup(setup: Setup, path: Path) -> None:
    """Write a setup whole or not at all. Raises CannotWrite."""
    write_document(path, with_unknown_back(msgspec.to_builtins(setup)), KIND)


def load_setup(path: Path) -> Setup:
    """Read a setup file. Raises FileMissing, NoPermission, SessionUnreadable, SessionTooNew."""
    fields = with_unknown_apart(read_document(path, KIND), Setup)
    try:
        setup = msgspec.convert(fields, Setup)
    except msgspec.ValidationError as error:
        raise SessionUnreadable(path, str(error), KIND.word) from error
    problem = _problem(setup)
    if problem:
        raise SessionUnreadable(path, problem, KIND.word)
    return setup


def _problem(setup: Setup) -> str | None:
    if not 1 <= setup.rate_hz <= 10_000_000:
        return f"a rate of {setup.rate_hz} Hz makes no sense"
    if len({known.name.casefold() for known in setup.lanes}) != len(setup.lanes):
        return "two lanes have the same name"
    for known in setup.lanes:
        move = known.move
        if move.polarity not in (1, -1):
            return f"the polarity of {known.name} is neither 1 nor -1"
        if not (math.isfinite(move.shift_samples) and abs(move.shift_samples) <= 1e12):
            return f"the shift of {known.name} makes no sense"
        if not abs(move.rate_ppm) <= 1e5:
            return f"the drift of {known.name} makes no sense"
        balance = known.balance
        if balance is not None and not (abs(balance.gain_db) <= LARGEST_GAIN_DB and abs(balance.pan) <= 1):
            return f"the gain or pan of {known.name} makes no sense"
    return None


def fits_name(known: SetupLane, name: str) -> bool:
    """Whether a lane of that name is this one: by the pattern where there is one, capitals ignored."""
    if known.pattern:
        return fnmatch.fnmatchcase(name.casefold(), known.pattern.casefold())
    return known.name.casefold() == name.casefold()


def _cores(names: list[str]) -> list[tuple[str, ...]]:
    """The words of each name without those that all of them begin and end with."""
    words = [re.findall(r"[^\W_]+", name.casefold()) for name in names]
    while len(words) > 1 and all(words) and len({first for first, *_ in words}) == 1:
        words = [rest for _, *rest in words]
    while len(words) > 1 and all(words) and len({last for *_, last in words}) == 1:
        words = [rest for *rest, _ in words]
    return [tuple(left) for left in words]
