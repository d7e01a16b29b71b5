"""Further takes for a setup: opened from recordings or folders, told apart, saved beside their recordings."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from lagline.errors import Cancelled, LaglineError
from lagline.files import is_there
from lagline.jobs.apply_setup import path_beside
from lagline.jobs.find_takes import find_takes, opened
from lagline.jobs.open_take import OpenedTake, open_take
from lagline.session.storage import save
from lagline.session.values import Session

Progress = Callable[[float], None]
Stopped = Callable[[], bool]


class FurtherTakes(Struct, frozen=True):
    """What could be opened, and sentences on what could not, or is in no take."""

    opened: tuple[OpenedTake, ...]
    failures: tuple[str, ...] = ()


class Saved(Struct, frozen=True):
    """One take of a save: where it now is, or why it is not."""

    number: int
    path: Path
    failure: str = ""


def take_of(
    paths: Sequence[Path], temperature_c: float, _progress: Progress, _stopped: Stopped
) -> FurtherTakes:
    """These recordings as one take. Raises as `open_take`."""
    return FurtherTakes((open_take(paths, temperature_c=temperature_c),))


def takes_below(
    root: Path, pattern: str | None, temperature_c: float, progress: Progress, stopped: Stopped
) -> FurtherTakes:
    """Every take in and below a folder; one that cannot be read does not stop the rest.

    `pattern`: how file names tell takes apart (see `find_takes`); None where each folder is a take.
    Raises NoFolder, NoRecordings or NoTakes when there is none, BadPattern, Cancelled.
    """
    taken: list[OpenedTake] = []
    found = find_takes(root, pattern)
    failures = list(found.problems)
    for number, take in enumerate(found.takes):
        if stopped():
            raise Cancelled
        progress(number / len(found.takes))
        try:
            taken.append(opened(take, temperature_c=temperature_c))
        except LaglineError as error:
            failures.append(f"{take.name}: {error}")
    return FurtherTakes(tuple(taken), tuple(failures))


def is_among(session: Session, others: Iterable[Session]) -> bool:
    """Whether the same recordings are there already."""
    recordings = _recordings(session)
    return any(_recordings(other) == recordings for other in others)


def with_own_name(session: Session, others: Iterable[Session]) -> Session:
    """The take under a name that gives it a session file of its own beside the others'.

    Several takes in one folder would all bear the folder's name: they are named by what their recordings'
    names begin with.
    """
    taken = {_key(path_beside(other)) for other in others}
    if _key(path_beside(session)) not in taken:
        return session
    stems = [lane.source.path.stem for lane in session.lanes]
    common = os.path.commonprefix(stems).rstrip(" _-.,")  # noqa: RUF071 - letter by letter is meant
    name = f"{session.name} {common}" if common else session.name
    candidates = [name, *(f"{name} ({number})" for number in range(2, len(taken) + 3))]
    named = (replace(session, name=candidate) for candidate in candidates)
    return next(one for one in named if _key(path_beside(one)) not in taken)


def save_all(
    sessions: Sequence[tuple[int, Session]], may_replace: bool, progress: Progress, stopped: Stopped
) -> tuple[Saved, ...]:
    """Save each (number, session) beside its recordings; one that fails does not stop the rest.

    A file that is there is replaced only with `may_replace`, and then kept as a restore point. Stopped, it
    ends after the take it is at.
    """
    done: list[Saved] = []
    for number, session in sessions:
        if stopped():
            break
        path = path_beside(session)
        try:
            if is_there(path) and not may_replace:
                done.append(Saved(number, path, f"{path} is there already; nothing was written over it."))
            else:
                save(session, path)
                done.append(Saved(number, path))
        except LaglineError as error:
            done.append(Saved(number, path, str(error)))
        progress(len(done) / len(sessions))
    return tuple(done)


def _recordings(session: Session) -> frozenset[tuple[str, int]]:
    return frozenset((str(lane.source.path.absolute()), lane.source.channel) for lane in session.lanes)


def _key(path: Path) -> str:
    return str(path).casefold()
