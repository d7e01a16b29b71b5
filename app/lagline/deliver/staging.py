"""A set of files appears whole or not at all: made in folders beside their places, then moved."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from lagline.deliver.scratch import scratch_in
from lagline.errors import CannotWrite
from lagline.files import is_there
from lagline.media.watched import Watched
from lagline.media.write import keep_off


class Staging:
    """Hands out places for files that go to `folder` in the end.

    scratch : the folder they wait in.
    """

    def __init__(self, folder: Path, scratch: Path, sources: tuple[Path, ...], overwrite: bool) -> None:
        self.folder = folder
        self.sources = sources
        self.overwrite = overwrite
        self.scratch = scratch
        self._names: list[str] = []

    def place(self, name: str) -> Path:
        """Where to write the file that will be `folder / name`. Raises WouldOverwrite."""
        keep_off(self.folder / name, self.sources, self.overwrite)
        self._names.append(name)
        return self.scratch / name

    def move(self, new: list[Path]) -> None:
        """Put all files in their places. `new` gains those that were not there before, one by one.

        Raises WouldOverwrite, CannotWrite.
        """
        for name in self._names:
            target = self.folder / name
            keep_off(target, self.sources, self.overwrite)
            replaces = is_there(target)
            try:
                (self.scratch / name).replace(target)
            except OSError as error:
                raise CannotWrite(target, error) from error
            if not replaces:
                new.append(target)


@contextlib.contextmanager
def staged(folder: Path, sources: Iterable[Path], *, overwrite: bool = False) -> Iterator[Staging]:
    """`staged_together` for one folder."""
    with staged_together((folder,), sources, overwrite=overwrite) as (staging,):
        yield staging


@contextlib.contextmanager
def staged_together(
    folders: Sequence[Path], sources: Iterable[Path], *, overwrite: bool = False
) -> Iterator[tuple[Staging, ...]]:
    """A `Staging` for each folder; without an error all files are moved at the end, with one they vanish.

    When a move fails, files that were not there before are taken back, and folders made here with them; those
    that were to be written over (`overwrite`) may then be new, each of them whole. Recordings that change
    while they are read make files of two halves: that is an error too.

    Raises WouldOverwrite, CannotWrite, FileMissing, ChangedWhileRead.
    """
    sources = tuple(sources)
    made = {path for folder in folders for path in (folder, *folder.parents) if not is_there(path)}
    stagings: list[Staging] = []
    new: list[Path] = []
    finished = False
    try:
        with contextlib.ExitStack() as scratches:
            for folder in folders:
                scratch = scratches.enter_context(scratch_in(folder))
                stagings.append(Staging(folder, scratch, sources, overwrite))
            with Watched(sources):
                yield tuple(stagings)
            for staging in stagings:
                staging.move(new)
            finished = True
    except CannotWrite as error:
        for staging in stagings:
            if error.path.parent == staging.scratch:  # the name that users know
                raise CannotWrite(staging.folder / error.path.name, error.reason) from error
        raise
    finally:
        if not finished:
            _take_back(new, made)


def _take_back(files: Iterable[Path], folders: Iterable[Path]) -> None:
    """What cannot be removed (in use, or not empty) stays: the error that led here is the one to tell."""
    for file in files:
        with contextlib.suppress(OSError):
            file.unlink(missing_ok=True)
    for folder in sorted(folders, key=lambda path: len(path.parts), reverse=True):
        with contextlib.suppress(OSError):
            folder.rmdir()
