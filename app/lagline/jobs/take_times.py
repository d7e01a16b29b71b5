"""Tell takes apart by when they were recorded: broadcast time stamps (EBU Tech 3285)."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from msgspec import Struct

from lagline.errors import MediaError
from lagline.media.probe import probe

DAY_S = 24 * 3600
SHARED = 0.5  # of the shorter of two recordings is at the same time: then they are of one take


class _Recorded(Struct, frozen=True):
    """When a recording ran, seconds since the stroke of midnight that began the first day known."""

    start_s: float
    stop_s: float
    day: str
    path: Path


def takes_by_time(files: Sequence[Path]) -> tuple[dict[str, list[Path]], list[Path]]:
    """Recordings that ran at the same time, by the take's name: the time of day it began, as `10-32-05`, with
    the date before it where there are several; and the files without a time stamp, or that cannot be read.

    Two are of one take when they share half of the shorter one. Files keep their order within a take.
    """
    recorded: list[_Recorded] = []
    without: list[Path] = []
    for file in files:
        found = _recorded(file)
        if found is None:
            without.append(file)
        else:
            recorded.append(found)
    groups: list[list[_Recorded]] = []
    for one in sorted(recorded, key=lambda one: one.start_s):
        if groups and _share(groups[-1], one):
            groups[-1].append(one)
        else:
            groups.append([one])
    several_days = len({one.day for one in recorded}) > 1
    named: dict[str, list[Path]] = {}
    for group in groups:
        name = plain = _name(group[0], several_days)
        number = 1
        while name in named:
            number += 1
            name = f"{plain} ({number})"
        members = {one.path for one in group}
        named[name] = [file for file in files if file in members]
    return named, without


def _recorded(file: Path) -> _Recorded | None:
    try:
        info = probe(file)
    except MediaError:
        return None  # opening the take says why
    if info.time_reference is None or info.bext is None:
        return None
    day = info.bext.date.replace(":", "-")
    start_s = _days(day) * DAY_S + info.time_reference / info.rate_hz
    return _Recorded(start_s, start_s + info.duration_s, day, file)


def _days(day: str) -> int:
    """Days since a day long ago; 0 where the date makes no sense, which many recorders write."""
    try:
        return date.fromisoformat(day).toordinal()
    except ValueError:
        return 0


def _share(group: Sequence[_Recorded], one: _Recorded) -> bool:
    first = min(group, key=lambda other: other.stop_s)
    shared_s = min(first.stop_s, one.stop_s) - one.start_s
    return shared_s > SHARED * min(first.stop_s - first.start_s, one.stop_s - one.start_s)


def _name(one: _Recorded, with_day: bool) -> str:
    seconds = int(one.start_s) % DAY_S
    clock = f"{seconds // 3600:02d}-{seconds // 60 % 60:02d}-{seconds % 60:02d}"
    return f"{one.day} {clock}" if with_day and one.day else clock
