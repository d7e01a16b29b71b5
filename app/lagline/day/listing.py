"""Make the list: the takes below some folders, each with the session that was saved of it before."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from lagline.day.facts import facts_of
from lagline.day.values import Day, DayTake, in_order
from lagline.errors import LaglineError, NoRecordings, NoTakes
from lagline.files import is_file, is_there, readable
from lagline.jobs.apply_setup import folders_beside, path_beside
from lagline.jobs.find_takes import FoundTake, ToldBy, find_takes, opened
from lagline.jobs.line_up import never, no_progress
from lagline.session.storage import SUFFIX as SESSION_SUFFIX
from lagline.session.storage import load, stamp
from lagline.session.values import Session
from lagline.spread import spread

STILL_S = 10.0  # that a recording must rest before it counts as finished
OPENERS = 4  # opening waits for the disk
_log = logging.getLogger(__name__)


class Listed(Struct, frozen=True):
    """A list, and what there is to say of recordings that are in no take."""

    day: Day
    problems: tuple[str, ...] = ()


def listed(
    roots: Sequence[Path],
    told_by: ToldBy = "folder",
    pattern: str = "",
    *,
    before: Day | None = None,
    progress: Callable[[float], None] = no_progress,
    cancelled: Callable[[], bool] = never,
) -> Listed:
    """The takes below `roots`, told apart as `find_takes` has it, in the order people count.

    A take that is on the list `before` keeps what is known of it, and its session for as long as that can be
    read. Else a session that lies beside the recordings and is of them, and no others, is the take's.

    Raises
    ------
    NoFolder, NoRecordings, NoTakes, BadPattern
        Of the one folder, or where none of several holds a take.
    Cancelled
    """
    found, problems = _found(roots, told_by, pattern)
    old = before.takes if before is not None else ()
    folders = {folder for take in found for folder in folders_beside(take.paths)}
    known = _sessions_in(folders | {take.session.parent for take in old})
    lines = _Lines({frozenset(take.paths): take for take in old}, {take.name: take for take in old})

    def one(take: FoundTake) -> DayTake:
        return _line(take, known, lines.of(take))

    takes = spread(one, found, threads=OPENERS, progress=progress, cancelled=cancelled)
    takes.sort(key=lambda take: in_order(take.name))
    day = Day(
        name=readable(roots[0].absolute().name) or "day",
        takes=tuple(_with_own_places(takes)),
        roots=tuple(root.absolute() for root in roots),
        told_by=told_by,
        pattern=pattern,
    )
    if before is not None:
        day = replace(day, name=before.name, setup=before.setup, extra=before.extra)
    return Listed(day, tuple(problems))


def arrived(day: Day, *, now_s: float, still_s: float = STILL_S) -> Day:
    """The day with the takes that have come since into its folders and whose files nobody has written to for
    `still_s`: those are finished. What is on the list stays as it is.

    `now_s` : seconds since the epoch, as files are stamped. Raises as `listed`, not for empty folders.
    """
    try:
        found, _ = _found(day.roots, day.told_by, day.pattern)
    except (NoRecordings, NoTakes):
        return day
    names = {take.name for take in day.takes}
    paths = {frozenset(take.paths) for take in day.takes}
    new = [
        take
        for take in found
        if take.name not in names and frozenset(take.paths) not in paths and _are_still(take, now_s - still_s)
    ]
    if not new:
        return day
    known = _sessions_in({folder for take in new for folder in folders_beside(take.paths)})
    takes = [*day.takes, *(_line(take, known, None) for take in new)]
    takes.sort(key=lambda take: in_order(take.name))
    return replace(day, takes=tuple(_with_own_places(takes)))


def _are_still(take: FoundTake, since_s: float) -> bool:
    try:
        return all(path.stat().st_mtime < since_s for path in take.paths)
    except OSError:  # gone again
        return False


def refreshed(take: DayTake) -> DayTake:
    """The take as its session file says now; as it was where there is none, or it cannot be read."""
    if not is_file(take.session):
        return take
    try:
        now = stamp(take.session)
        if take.facts is not None and take.facts.stamp == now:
            return take
        return replace(take, facts=facts_of(load(take.session), now or ""))
    except (LaglineError, OSError) as error:
        return replace(take, error=readable(str(error)))


def _found(roots: Sequence[Path], told_by: ToldBy, pattern: str) -> tuple[list[FoundTake], list[str]]:
    found: list[FoundTake] = []
    problems: list[str] = []
    for root in roots:
        try:
            one = find_takes(root.absolute(), pattern if told_by == "name" else None, told_by=told_by)
        except LaglineError as error:
            if len(roots) == 1:
                raise
            problems.append(str(error))
            last = error
            continue
        problems += one.problems
        for take in one.takes:
            name = readable(take.name) if take.name != "." else readable(root.absolute().name)
            several = len(roots) > 1 and take.name != "."
            found.append(replace(take, name=f"{readable(root.absolute().name)}/{name}" if several else name))
    if not found:
        raise last
    return _with_own_names(found), problems


def _with_own_names(found: list[FoundTake]) -> list[FoundTake]:
    taken: set[str] = set()
    named = []
    for take in found:
        name, number = take.name, 1
        while name.casefold() in taken:
            number += 1
            name = f"{take.name} ({number})"
        taken.add(name.casefold())
        named.append(replace(take, name=name))
    return named


class _Lines(Struct, frozen=True):
    """The lines of an earlier list, by their recordings and by name."""

    by_paths: dict[frozenset[Path], DayTake]
    by_name: dict[str, DayTake]

    def of(self, take: FoundTake) -> DayTake | None:
        """The take's line: of its recordings, or of its name where some were added or left out since."""
        paths = frozenset(take.paths)
        line = self.by_paths.get(paths) or self.by_name.get(take.name)
        if line is None or not (paths <= frozenset(line.paths) or frozenset(line.paths) <= paths):
            return None
        return line


class _Saved(Struct, frozen=True):
    path: Path
    stamp: str
    session: Session
    age: int  # when it was written, ns


class _Sessions(Struct, frozen=True):
    """The sessions that are there, by their place and by what they are of; the newest of several."""

    by_path: dict[Path, _Saved]
    by_recordings: dict[frozenset[Path], _Saved]


def _sessions_in(folders: set[Path]) -> _Sessions:
    by_path: dict[Path, _Saved] = {}
    for folder in folders:
        for path in folder.glob(f"*{SESSION_SUFFIX}"):
            try:
                by_path[path] = _Saved(path, stamp(path) or "", load(path), path.stat().st_mtime_ns)
            except (LaglineError, OSError) as error:
                _log.info("%s is passed over: %s", path, error)
    oldest_first = sorted(by_path.values(), key=lambda one: one.age)
    return _Sessions(
        by_path, {frozenset(lane.source.path for lane in one.session.lanes): one for one in oldest_first}
    )


def _line(take: FoundTake, known: _Sessions, old: DayTake | None) -> DayTake:
    saved = known.by_path.get(old.session) if old is not None else None
    saved = saved or known.by_recordings.get(frozenset(take.paths))
    line = old or DayTake(take.name, take.paths, Path())
    line = replace(line, name=take.name, paths=take.paths, error="")
    if saved is not None:
        return replace(line, session=saved.path, facts=facts_of(saved.session, saved.stamp))
    try:
        made = opened(take)
    except LaglineError as error:
        session = take.paths[0].with_suffix(SESSION_SUFFIX)
        return replace(line, facts=None, error=readable(str(error)), session=session)
    return replace(
        line,
        facts=facts_of(made.session),
        problems=tuple(readable(problem) for problem in made.problems),
        session=path_beside(made.session),
    )


def _with_own_places(takes: Sequence[DayTake]) -> list[DayTake]:
    """No two takes have one session, and none is another's that is there already."""
    taken = {take.session for take in takes if take.facts is not None and take.facts.stamp}
    placed = []
    for take in takes:
        path, number = take.session, 1
        if take.facts is None or not take.facts.stamp:
            while path in taken or is_there(path):
                number += 1
                path = take.session.with_stem(f"{take.session.stem} ({number})")
            taken.add(path)
        placed.append(replace(take, session=path))
    return placed
