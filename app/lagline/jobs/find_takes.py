"""Find the takes below a folder: one a folder, or told apart by file names, take numbers or time stamps."""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path, PurePosixPath
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from lagline.deliver.own import own_deliveries
from lagline.errors import NoFolder, NoRecordings, NoTakes
from lagline.files import is_folder, readable
from lagline.jobs.name_patterns import Reading, best_reading, number_reading, pattern_regex
from lagline.jobs.open_take import OpenedTake, left_out_deliveries, open_take
from lagline.jobs.take_times import takes_by_time
from lagline.media.probe import AUDIO_SUFFIXES
from lagline.units import DEFAULT_TEMPERATURE_C

MANY = 5  # names in one sentence
ToldBy = Literal["folder", "name", "number", "time"]


class FoundTake(Struct, frozen=True):
    """The recordings of one take."""

    name: str  # unique below the root, with forward slashes, the same on every system; "." is the root itself
    paths: tuple[Path, ...]


class FoundTakes(Struct, frozen=True):
    """`takes`: sorted by name. `problems`: sentences on recordings that are in none of them."""

    takes: tuple[FoundTake, ...]
    problems: tuple[str, ...] = ()


def find_takes(
    root: Path, pattern: str | None = None, leave_out: Path | None = None, told_by: ToldBy = "folder"
) -> FoundTakes:
    """The takes below `root`.

    Every folder that directly holds two recordings or more is a take. With a pattern the files of a folder
    whose names match are sorted into takes by what `{take}` stands for (see `best_reading`), capitals ignored
    unless a lane would then be there twice. Told by "number" the take is a number in the file names (see
    `number_reading`), in each folder or, where each lane has a folder of its own, in all of them together.
    Told by "time" a take is what was recorded at the same time, by broadcast time stamps, in whatever folder.
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
    folders, problems = _recordings(root, leave_out)
    if told_by == "time":
        named, without = takes_by_time([file for files in folders.values() for file in files])
        said = [
            *_alone(root, named),
            *_left_out(root, without, "Without a time stamp nothing tells which take they are of."),
        ]
    elif pattern is not None:
        named, said = _in_folders(root, folders, lambda names: best_reading(names, pattern), pattern)
    elif told_by == "number":
        named, said = _by_number(root, folders)
    else:
        named, said = _in_folders(root, folders, lambda names: dict.fromkeys(names, ("", "")), "")
    takes = [FoundTake(name, tuple(paths)) for name, paths in named.items() if len(paths) > 1]
    problems = [*said, *problems]
    if not takes:
        raise NoTakes(root, problems) if problems else NoRecordings([root])
    return FoundTakes(tuple(sorted(takes, key=lambda take: take.name)), tuple(problems))


def _recordings(root: Path, leave_out: Path | None) -> tuple[dict[Path, list[Path]], list[str]]:
    """The recordings below `root` by folder, and what is said of those that Lagline made."""
    found: dict[Path, list[Path]] = {}
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
        if files:
            found[folder] = files
    if not delivered:
        return found, []
    return found, [left_out_deliveries(f"{sum(delivered.values())} files in {_and(list(delivered))}")]


def _in_folders(
    root: Path, folders: Mapping[Path, list[Path]], read: Callable[[list[str]], Reading], pattern: str
) -> tuple[dict[str, list[Path]], list[str]]:
    """The files of each folder by the take they name, by the take's name below `root`; what is said of those
    that name none."""
    named: dict[str, list[Path]] = {}
    said: list[str] = []
    for folder, files in folders.items():
        groups, unlike = _by_name(files, read([file.stem for file in files]))
        below = folder.relative_to(root)
        named |= {(below / name).as_posix(): paths for name, paths in groups.items()}
        said += _alone(root, groups)
        said += _left_out(root, unlike, f"Names that do not match {pattern} belong to no take.")
    return named, said


def _by_number(root: Path, folders: Mapping[Path, list[Path]]) -> tuple[dict[str, list[Path]], list[str]]:
    """In each folder; where no folder holds a take, the folders are the lanes."""
    named: dict[str, list[Path]] = {}
    unlike: list[Path] = []
    for folder, files in folders.items():
        groups, others = _by_name(files, number_reading([file.stem for file in files]))
        unlike += others
        named |= {(folder.relative_to(root) / name).as_posix(): paths for name, paths in groups.items()}
    if all(len(paths) == 1 for paths in named.values()):
        by_name = {
            file.relative_to(root).with_suffix("").as_posix(): file
            for files in folders.values()
            for file in files
        }
        named = defaultdict(list)
        for name, (take, _) in number_reading(list(by_name)).items():
            named[take].append(by_name[name])
    return named, [*_alone(root, named), *_left_out(root, unlike, "There is no number in their names.")]


def _alone(root: Path, named: Mapping[str, list[Path]]) -> Iterator[str]:
    alone = [path for paths in named.values() if len(paths) == 1 for path in paths]
    return _left_out(root, alone, "There is no other recording of the same take with them.")


def _by_name(files: list[Path], reading: Reading) -> tuple[dict[str, list[Path]], list[Path]]:
    """The files of one folder by the take they name, as it is first spelled; and those that name none."""
    alike: dict[str, dict[str, list[Path]]] = defaultdict(lambda: defaultdict(list))
    for file in files:
        if file.stem in reading:
            take = reading[file.stem][0]
            alike[take.casefold()][take].append(file)
    groups: dict[str, list[Path]] = {}
    for spellings in alike.values():
        together = [file for paths in spellings.values() for file in paths]
        lanes = {reading[file.stem][1].casefold() for file in together}
        one = len(spellings) == 1 or len(lanes) == len(together)
        groups |= {next(iter(spellings)): together} if one else spellings
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
