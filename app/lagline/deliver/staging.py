"""A set of files appears whole or not at all: made in a folder beside their place, then moved."""

from __future__ import annotations

import contextlib
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

from lagline.errors import CannotWrite, FileMissing, SourceChanged
from lagline.files import is_there
from lagline.media.write import keep_off


class Staging:
    """Hands out places for files that go to `folder` in the end."""

    def __init__(self, folder: Path, scratch: Path, sources: tuple[Path, ...], overwrite: bool) -> None:
        self.folder = folder
        self.sources = sources
        self.overwrite = overwrite
        self._scratch = scratch
        self._names: list[str] = []

    def place(self, name: str) -> Path:
        """Where to write the file that will be `folder / name`. Raises WouldOverwrite."""
        keep_off(self.folder / name, self.sources, self.overwrite)
        self._names.append(name)
        return self._scratch / name

    def move(self) -> tuple[Path, ...]:
        """Put all files in their places. When one fails, those that were not there before are taken back;
        files that were to be written over (`overwrite`) may then be new, each of them whole.
        """
        moved: list[Path] = []
        for name in self._names:
            target = self.folder / name
            keep_off(target, self.sources, self.overwrite)
            try:
                (self._scratch / name).replace(target)
            except OSError as error:
                for done in () if self.overwrite else moved:
                    done.unlink(missing_ok=True)
                raise CannotWrite(target, error) from error
            moved.append(target)
        return tuple(moved)


@contextlib.contextmanager
def staged(folder: Path, sources: Iterable[Path], *, overwrite: bool = False) -> Iterator[Staging]:
    """A `Staging` for `folder`; without an error its files are moved at the end, with one they vanish.

    Recordings that change while they are read make files of two halves: that is an error too.

    Raises WouldOverwrite, CannotWrite, FileMissing, SourceChanged.
    """
    sources = tuple(sources)
    made = not is_there(folder)
    before = {source: _state(source) for source in sources}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        scratch = Path(tempfile.mkdtemp(prefix=".lagline-", dir=folder))
    except OSError as error:
        raise CannotWrite(folder, error) from error
    finished = False
    try:
        staging = Staging(folder, scratch, tuple(sources), overwrite)
        yield staging
        for source, state in before.items():
            _check_unchanged(source, state)
        staging.move()
        finished = True
    except CannotWrite as error:
        if error.path.parent != scratch:
            raise
        raise CannotWrite(folder / error.path.name, error.reason) from error  # the name that users know
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
        if made and not finished:
            with contextlib.suppress(OSError):  # not empty, or in use: then it stays
                folder.rmdir()


def _state(source: Path) -> tuple[int, int] | None:
    """Size and modification time; None where there is nothing."""
    try:
        status = source.stat()
    except OSError:
        return None
    return status.st_size, status.st_mtime_ns


def _check_unchanged(source: Path, before: tuple[int, int] | None) -> None:
    now = _state(source)
    if now == before:
        return
    if now is None:
        raise FileMissing(source)
    raise SourceChanged(source, "while it was read")
