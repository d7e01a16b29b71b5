"""Whether recordings stay the same while they are read."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from types import TracebackType

from msgspec import Struct

from lagline.errors import CannotWrite, ChangedWhileRead, FileMissing, MediaError
from lagline.media.fingerprint import fingerprints
from lagline.media.probe import probe


class _State(Struct, frozen=True):
    size_bytes: int
    changed_ns: int  # when its content changed, or what the system knows of it; can't be set back
    modified_ns: int
    number: int  # of the file on its disk: another one may have taken its name
    fingerprints: tuple[str, ...]  # for systems that keep no such time


class Watched:
    """Recordings from now on. Leaving the block, or `check`, tells whether they are still what they were.

    An error about a recording within the block, or about a file that was made of it, gives way to this one,
    which is its cause. What cannot be read when the watch begins is left to those who read it.
    """

    def __init__(self, paths: Iterable[Path]) -> None:
        self._before = {path: _state(path) for path in dict.fromkeys(paths)}

    def __enter__(self) -> Watched:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if error is None or isinstance(error, MediaError | CannotWrite):
            self.check()

    def check(self) -> None:
        """Raises FileMissing, ChangedWhileRead."""
        for path, before in self._before.items():
            now = _state(path)
            if now is None and before is not None:
                raise FileMissing(path)
            if now != before:
                raise ChangedWhileRead(path)


def _state(path: Path) -> _State | None:
    try:
        status = path.stat()
    except OSError:
        return None
    try:
        known = fingerprints(probe(path))
    except (MediaError, OSError):
        known = ()
    return _State(status.st_size, status.st_ctime_ns, status.st_mtime_ns, status.st_ino, known)
