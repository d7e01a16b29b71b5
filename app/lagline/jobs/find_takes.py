"""Find the takes below a folder: one a folder, or by the pattern of the file names."""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path, PurePosixPath

from msgspec import Struct
from msgspec.structs import replace

from lagline.deliver.own import own_deliveries
from lagline.errors import NoFolder, NoRecordings, NoTakes
from lagline.files import is_folder, readable
from lagline.jobs.name_patterns import best_reading, pattern_regex
from lagline.jobs.open_take import OpenedTake, left_out_deliveries, open_take
from lagline.media.probe import AUDIO_SUFFIXES
from lagline.units import DEFAULT_TEMPERATURE_C

MANY = 5  # names in one sentence


class FoundTake(Struct, frozen=True):
    """The recordings of one take."""

    name: str  # unique below the root, with forward slashes, the same on every system; "." is the root itself
    paths: tuple[Path, ...]


class FoundTakes(Struct, frozen=True):
    """`takes`: sorted by name. `problems`: sentences on recordings that are in none of them."""

    takes: tuple[FoundTake, ...]
    problems: tuple[str, ...] = ()


def find_takes(root: Path, pattern: str | None = None, leave_out: Path | None = None) -> FoundTakes:
    """The takes below `root`.

    Without a pattern every folder that directly holds two recordings or more is a take. With one, the files
    of a folder whose names match are sorted into takes by what `{take}` stands for (see `best_reading`),
    capitals ignored unless a lane would then be there twice.
    What Lagline delivered itself belongs to no take. `leave_out` is a folder that is not searched (where
    results go). Links to folders are not followed.

    Raises
    ------
    NoFolder
        `root` is missing, or a file.
    NoRecordings
        None is there.
    NoTakes
        No two of them belong to one take.
    BadPattern
    """
    if pattern is not None:
        pattern_regex(pattern)
    if not is_folder(root):
        raise NoFolder(root)
    takes: list[FoundTake] = []
    problems: list[str] = []
    delivered: dict[str, int] = {}  # files that are Lagline's own, by folder
    for place, folders, names in os.walk(root):
        folder = Path(place)
        folders[:] = sorted(
            name for name in folders if not name.startswith(".") and not _same(folder / name, leave_out)
        )
        files = [folder / name for name in sorted(names) if _is_recording(name)]
        own = own_deliveries(files)
        if own:
            delivered[readable(folder.relative_to(root).as_posix())] = len(own)
            files = [file for file in files if file not in own]
        groups, unlike = ({"": files}, []) if pattern is None else _by_name(files, pattern)
        below = folder.relative_to(root)
        alone = []
        for name, paths in groups.items():
            if len(paths) > 1:
                takes.append(FoundTake((below / name).as_posix(), tuple(paths)))
            else:
                alone += paths
        problems += _left_out(root, alone, "There is no other recording of the same take with them.")
        problems += _left_out(root, unlike, f"Names that do not match {pattern} belong to no take.")
    if delivered:
        problems.append(left_out_deliveries(f"{sum(delivered.values())} files in {_and(list(delivered))}"))
    if not takes:
        raise NoTakes(root, problems) if problems else NoRecordings([root])
    return FoundTakes(tuple(sorted(takes, key=lambda take: take.name)), tuple(problems))


def _by_name(files: list[Path], pattern: str) -> tuple[dict[str, list[Path]], list[Path]]:
    """The files of one folder by the take they name, as it is first spelled; and those that name none."""
    reading = best_reading([file.stem for file in files], pattern)
    alike: dict[str, dict[str, list[Path]]] = defaultdict(lambda: defaultdict(list))
    for file in files:
        if file.stem in reading:
            take = reading[file.stem][0]
            alike[take.casefold()][take].append(file)
    groups: dict[str, list[Path]] = {}
    for spellings in alike.values():
        together = [file for paths in spellings.values() for file in paths]
        lanes = {reading[file.stem][1].casefold() for file in together}
        groups |= spellings if len(lanes) < len(together) else {next(iter(spellings)): together}
    return groups, [file for file in files if file.stem not in reading]


def _left_out(root: Path, files: Sequence[Path], why: str) -> Iterator[str]:
    if files:
        named = [readable(file.relative_to(root).as_posix()) for file in files[:MANY]]
        more = f" and {len(files) - MANY} more" if len(files) > MANY else ""
        yield f"Left out: {', '.join(named)}{more}. {why}"


def _and(names: list[str]) -> str:
    """Names as they are listed in a sentence."""
    if len(names) > MANY:
        names = [*names[:MANY], f"{len(names) - MANY} more"]
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))


def opened(
    take: FoundTake, *, rate_hz: int | None = None, temperature_c: float = DEFAULT_TEMPERATURE_C
) -> OpenedTake:
    """A found take as a session that bears its name. Raises as `open_take`."""
    made = open_take(take.paths, rate_hz=rate_hz, temperature_c=temperature_c)
    name = readable(PurePosixPath(take.name).name)
    return replace(made, session=replace(made.session, name=name or made.session.name))


def share(takes: Sequence[FoundTake], number: int, of: int) -> Sequence[FoundTake]:
    """Every `of`-th take, starting with the `number`-th (1-based): they overlap nowhere, miss nothing.

    Raises ValueError unless 1 <= number <= of.
    """
    if not 1 <= number <= of:
        raise ValueError(f"there is no share {number} of {of}")
    return takes[number - 1 :: of]


def _is_recording(name: str) -> bool:
    return Path(name).suffix.lower() in AUDIO_SUFFIXES and not name.startswith(".")


def _same(folder: Path, other: Path | None) -> bool:
    return other is not None and folder.absolute() == other.absolute()
