"""What is known of a day's takes: frozen values. The takes' own sessions hold what was decided about each."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, Literal

from msgspec import Struct, field
from msgspec.structs import replace

from lagline.jobs.find_takes import ToldBy
from lagline.session.findings import TrustWord
from lagline.session.setup import Setup
from lagline.session.values import ORIGINAL
from lagline.units import DEFAULT_TEMPERATURE_C

State = Literal["new", "measured", "lined up", "decided", "delivered"]
PICTURE_COLUMNS = 96  # of the small picture of the sum


class LaneFact(Struct, frozen=True):
    """One lane: what was found of it against the take's anchor, and where the current version has it."""

    name: str
    arrival_samples: float | None = None  # None: not measured, or nothing found
    uncertainty_samples: float | None = None
    polarity: int | None = None
    trust_word: TrustWord = "none"
    shift_samples: float = 0.0
    is_flipped: bool = False
    fingerprint: str = ""  # of its sound; empty: not known


class Facts(Struct, frozen=True):
    """A take's session in short. `stamp` is of the file it was read from; empty: there is none yet."""

    rate_hz: int
    length_s: float
    lanes: tuple[LaneFact, ...]
    stamp: str = ""
    temperature_c: float = DEFAULT_TEMPERATURE_C
    anchor: str = ""  # the lane the others were measured against; empty: not measured
    is_lined_up: bool = False  # some lane of the current version was put somewhere
    versions: tuple[str, ...] = ()  # by name


class Delivered(Struct, frozen=True):
    """What was delivered of a take, and where."""

    folder: Path
    version: str
    stamp: str  # of the session that it was delivered from


class DayTake(Struct, frozen=True):
    """One line of the list."""

    name: str  # unique in the day
    paths: tuple[Path, ...]
    session: Path  # where its session is, or will be
    facts: Facts | None = None  # None: its recordings have not been looked at
    problems: tuple[str, ...] = ()  # that opening it told of: files left out, rates that differ
    is_checked: bool = False  # the recordings' health was measured
    faults: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    picture: bytes = b""  # peak of the sum, 0 to 255, per column
    decided: str = ""  # name of the version that goes out
    own_timing: str = ""  # id of the version that keeps the take's own, where the decided one has another
    delivered: Delivered | None = None
    error: str = ""  # why the last work on it failed
    extra: dict[str, Any] = field(default_factory=dict)

    @property
    def state(self) -> State:
        """How far it has come. A session that changed since it was delivered is no longer delivered."""
        facts = self.facts
        if facts is None:
            return "new"
        if self.delivered is not None and self.delivered.stamp == facts.stamp:
            return "delivered"
        if self.decided and self.decided in (*facts.versions, ORIGINAL.name):
            return "decided"
        if facts.is_lined_up:
            return "lined up"
        return "measured" if facts.anchor else "new"

    @property
    def is_measured(self) -> bool:
        """Whether its lanes have been measured."""
        return self.facts is not None and bool(self.facts.anchor)


class Day(Struct, frozen=True):
    """A list of takes: where they were looked for, how they are told apart, what they are held against."""

    name: str
    takes: tuple[DayTake, ...] = ()
    roots: tuple[Path, ...] = ()
    told_by: ToldBy = "folder"
    pattern: str = ""  # with `told_by` "name"
    setup: Setup | None = None  # None: each take is held against where the lanes usually are on this day
    extra: dict[str, Any] = field(default_factory=dict)

    def with_take(self, take: DayTake) -> Day:
        """The day with this take in place of the one of its name."""
        return replace(self, takes=tuple(take if old.name == take.name else old for old in self.takes))

    def take(self, name: str) -> DayTake | None:
        """The take of that name, if it is on the list."""
        return next((take for take in self.takes if take.name == name), None)


def in_order(name: str) -> tuple[tuple[int, int, str], ...]:
    """Sorts names as people count: Take 2 before Take 12."""
    return tuple(
        (0, int(part), "") if part.isdecimal() and part.isascii() else (1, 0, part)
        for part in re.split(r"([0-9]{1,15})", name.casefold())
        if part
    )
