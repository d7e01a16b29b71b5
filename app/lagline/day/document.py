"""The day's document: UTF-8 JSON, `{"schema": "lagline/day", "version": 1, ...}` and the fields of `Day`.

Paths are relative to its folder where that is possible. The takes' sessions lie beside their recordings.

Unknown keys, at the top and in takes, are kept and written back.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import msgspec

from lagline.day.values import Day, DayTake
from lagline.deliver.names import safe_stem
from lagline.errors import CannotWrite, ChangedOnDisk, SessionUnreadable
from lagline.files import readable, write_whole
from lagline.session.documents import (
    DocumentKind,
    encoded,
    read_document,
    with_unknown_apart,
    with_unknown_back,
)
from lagline.session.setup import Setup
from lagline.session.storage import plain, stamp, stamp_of, typed

SUFFIX = ".lagline-day"
KIND = DocumentKind("takes list", "lagline/day", version=1, largest_bytes=256 * 2**20)
AGAIN = "Open the folder of the takes again: a new list is made, and the sessions are found again."
MOST_TAKES = 100_000


def place_of_list(roots: Sequence[Path]) -> Path:
    """Where the list of these folders is kept: in the first of them, by its name."""
    folder = roots[0].absolute()
    return folder / f"{safe_stem(readable(folder.name) or 'day')}{SUFFIX}"


def save_day(day: Day, path: Path, *, known: str | None = None) -> str:
    """Write the list whole or not at all; its stamp. `known`: of what may be replaced, None for anything.

    Raises CannotWrite, ChangedOnDisk.
    """
    path = path.absolute()
    fields = plain(day, path.parent)
    fields["takes"] = [with_unknown_back(take) for take in fields["takes"]]
    if fields["setup"] is not None:
        fields["setup"] = with_unknown_back(fields["setup"])
    data = encoded(with_unknown_back(fields), KIND)
    try:
        if known is not None and stamp(path) not in (None, known):
            raise ChangedOnDisk(path)
        write_whole(path, data)
    except OSError as error:
        raise CannotWrite(path, error) from error
    return stamp_of(data)


def load_day(path: Path) -> Day:
    """Read a list. Raises FileMissing, NoPermission, SessionUnreadable, SessionTooNew."""
    path = path.absolute()
    try:
        day = _day(read_document(path, KIND), path.parent)
    except SessionUnreadable as error:
        raise SessionUnreadable(path, error.reason, KIND.word, AGAIN) from error
    except (msgspec.ValidationError, ValueError, OverflowError) as error:
        raise SessionUnreadable(path, str(error), KIND.word, AGAIN) from error
    return day


def _day(fields: dict[str, Any], folder: Path) -> Day:
    takes = fields.get("takes", [])
    if not isinstance(takes, list) or len(takes) > MOST_TAKES:
        raise ValueError("its takes are no list that makes sense")
    apart = {**fields, "takes": [with_unknown_apart(take, DayTake) for take in takes]}
    if apart.get("setup") is not None:
        apart["setup"] = with_unknown_apart(apart["setup"], Setup)
    day: Day = typed(Day, with_unknown_apart(apart, Day), folder)
    if len({take.name for take in day.takes}) < len(day.takes):
        raise ValueError("two takes have the same name")
    for take in day.takes:
        facts = take.facts
        if facts is not None and not (1 <= facts.rate_hz <= 10_000_000 and 0 <= facts.length_s < 1e9):
            raise ValueError(f"the rate or length of {take.name} makes no sense")
    return day
