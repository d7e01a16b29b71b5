"""Find the takes below a folder: one a folder, or by the pattern of the file names."""

from __future__ import annotations

import os
from collections import defaultdict
from pathlib import Path, PurePosixPath

from msgspec import Struct
from msgspec.structs import replace

from lagline.errors import NoFolder, NoRecordings
from lagline.files import is_folder, readable
from lagline.jobs.name_patterns import best_reading, pattern_regex
from lagline.jobs.open_take import OpenedTake, open_take
from lagline.media.probe import AUDIO_SUFFIXES
from lagline.units import DEFAULT_TEMPERATURE_C


class FoundTake(Struct, frozen=True):
    name: str  # unique below the root, with forward slashes, the same on every system; "." is the root itself
    paths: tuple[Path, ...]


def find_takes(root: Path, pattern: str | None = None, leave_out: Path | None = None) -> list[FoundTake]:
    """The takes below `root`, sorted by name.

    Without a pattern every folder that directly holds two recordings or more is a take. With one, the files
    of a folder whose names match are sorted into takes by what `{take}` stands for (see `best_reading`).
    `leave_out` is a folder that is not searched (where results go). Links to folders are not followed.

    Raises
    ------
    NoFolder
        `root` is missing, or a file.
    NoRecordings
        No take is there.
    BadPattern
    """
    if pattern is not None:
        pattern_regex(pattern)
    if not is_folder(root):
        raise NoFolder(root)
    takes: list[FoundTake] = []
    for place, folders, names in os.walk(root):
        folder = Path(place)
        folders[:] = sorted(
            name for name in folders if not name.startswith(".") and not _same(folder / name, leave_out)
        )
        files = [folder / name for name in sorted(names) if _is_recording(name)]
        relative = folder.relative_to(root).as_posix()
        groups: dict[str, list[Path]] = defaultdict(list)
        reading = None if pattern is None else best_reading([file.stem for file in files], pattern)
        for file in files:
            if reading is None:
                groups[relative].append(file)
            elif file.stem in reading:
                name = reading[file.stem][0]
                groups[name if relative == "." else f"{relative}/{name}"].append(file)
        takes += [FoundTake(name, tuple(paths)) for name, paths in groups.items() if len(paths) > 1]
    if not takes:
        raise NoRecordings([root])
    return sorted(takes, key=lambda take: take.name)


def opened(
    take: FoundTake, *, rate_hz: int | None = None, temperature_c: float = DEFAULT_TEMPERATURE_C
) -> OpenedTake:
    """A found take as a session that bears its name. Raises as `open_take`."""
    made = open_take(take.paths, rate_hz=rate_hz, temperature_c=temperature_c)
    name = readable(PurePosixPath(take.name).name)
    return replace(made, session=replace(made.session, name=name or made.session.name))


def shard(takes: list[FoundTake], number: int, of: int) -> list[FoundTake]:
    """Every `of`-th take, starting with the `number`-th (1-based): shards share nothing and miss nothing.

    Raises ValueError unless 1 <= number <= of.
    """
    if not 1 <= number <= of:
        raise ValueError(f"there is no shard {number} of {of}")
    return takes[number - 1 :: of]


def _is_recording(name: str) -> bool:
    return Path(name).suffix.lower() in AUDIO_SUFFIXES and not name.startswith(".")


def _same(folder: Path, other: Path | None) -> bool:
    return other is not None and folder.absolute() == other.absolute()
