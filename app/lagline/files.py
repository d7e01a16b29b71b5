"""Asking after files without surprises, and writing them whole or not at all."""

from __future__ import annotations

import os
import shutil
import stat
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import cast

_UMASK = os.umask(0)  # can only be read by setting it, which two threads must not do at once: so once, here
os.umask(_UMASK)


def readable(name: str) -> str:
    """A file's name as text that can be shown and stored; bytes that are no UTF-8 become question marks."""
    return os.fsencode(name).decode("utf-8", "replace")


def for_libsndfile(path: Path) -> str:
    """A path as soundfile takes it: bytes, which its types don't tell of, for names that are no UTF-8."""
    return str(path) if sys.platform == "win32" else cast(str, os.fsencode(path))


def changed_ns(status: os.stat_result) -> int:
    """When a file changed last: its own time can be set back, what the system keeps of it cannot."""
    return max(status.st_mtime_ns, status.st_ctime_ns)


def is_there(path: Path) -> bool:
    """Whether anything can be found at `path`: not where the name is too long or a folder closed to us."""
    return _mode(path) is not None


def is_folder(path: Path) -> bool:
    """Whether `path` is a folder; like `is_there` it raises nothing."""
    mode = _mode(path)
    return mode is not None and stat.S_ISDIR(mode)


def is_file(path: Path) -> bool:
    """Whether `path` is a plain file; like `is_there` it raises nothing."""
    mode = _mode(path)
    return mode is not None and stat.S_ISREG(mode)


def _mode(path: Path) -> int | None:
    try:
        return path.stat().st_mode
    except (OSError, ValueError):  # ValueError: a NUL in the name
        return None


@contextmanager
def whole_or_nothing(path: Path, *, lasting: bool = True, private: bool = False) -> Iterator[Path]:
    """Give the path of a new, empty file in the same folder; on leaving it takes the name `path` in one step.

    When the body raises, the new file is removed and whatever was at `path` stays. With `lasting` the content
    is on the disk (fsync) before the name changes, so a power cut leaves the old or the new file; without it
    that is left to the system: for what can be made again. `private`: only its owner may read it.

    Raises
    ------
    OSError
        As the file system says; the caller names it for the user.
    """
    handle, name = tempfile.mkstemp(prefix=f".{path.name[:30]}.", suffix=".part", dir=path.parent)
    os.close(handle)
    part = Path(name)
    try:
        yield part
        if lasting:
            with part.open("rb+") as file:
                os.fsync(file.fileno())
        if private:
            part.chmod(0o600)
        elif path.exists():
            shutil.copymode(path, part)
        else:
            part.chmod(0o666 & ~_UMASK)
        part.replace(path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    if lasting:
        _folder_to_disk(path.parent)


def _folder_to_disk(folder: Path) -> None:
    """Make a new name last through a power cut, where the system can do that."""
    with suppress(OSError):  # Windows and some network file systems cannot; the file itself is on the disk
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def write_whole(path: Path, data: bytes, *, private: bool = False) -> None:
    """Put `data` at `path`, whole or not at all (see `whole_or_nothing`)."""
    with whole_or_nothing(path, private=private) as part:
        part.write_bytes(data)
