"""Folders in which a delivery waits until it is whole, and those that killed processes left behind.

A process that is killed clears nothing up, and what it left, hidden, would go to the client with the next
delivery. While a folder is in use a file in it is locked; the system lets go of the lock when the process
ends, however it ends.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from lagline.errors import CannotWrite

_PREFIX = ".lagline-"
_NAME = re.compile(r"\.lagline-[a-z0-9_]{8}")  # as tempfile makes them
_UNFINISHED = re.compile(r"\..+\.[a-z0-9_]{8}\.part")  # as files.whole_or_nothing makes them
_IN_USE = "in-use"
_FORGOTTEN_S = 86_400.0


@contextmanager
def scratch_in(folder: Path) -> Iterator[Path]:
    """A new, hidden folder in `folder`, which is made if need be; gone at the end with all that is in it.

    Raises CannotWrite.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        clear_left_behind(folder)
        scratch = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=folder))
    except OSError as error:
        raise CannotWrite(folder, error) from error
    mark: BinaryIO | None = None
    try:
        try:
            mark = _marked(scratch / _IN_USE)
        except OSError as error:
            raise CannotWrite(folder, error) from error
        yield scratch
    finally:
        if mark is not None:
            with contextlib.suppress(OSError):  # nothing rests on what is in it
                mark.close()
        _remove(scratch)


def clear_left_behind(folder: Path) -> None:
    """Remove the scratch folders in `folder` that nobody uses any more, and nothing else.

    That is certain where the lock is free. Where none was ever taken (a system without locks, an older
    Lagline) the folder must be empty or hold a file that was begun and not finished, and be a day old.
    """
    with contextlib.suppress(OSError):  # what can't be looked into stays; writing will say so
        for place in [place for place in folder.iterdir() if _NAME.fullmatch(place.name)]:
            if place.is_dir() and not place.is_symlink() and _is_left_behind(place):
                _remove(place)


def _marked(mark: Path) -> BinaryIO:
    """An open, locked file. It says that it is locked from then on, not before."""
    file = mark.open("wb", buffering=0)
    try:
        if _locked(file.fileno()):
            file.write(b"locked")
    except BaseException:
        file.close()
        raise
    return file


def _is_left_behind(place: Path) -> bool:
    try:
        with (place / _IN_USE).open("rb+") as file:
            if file.read():
                return _locked(file.fileno())
    except FileNotFoundError:
        pass
    names = [path.name for path in place.iterdir()]
    begun = not names or any(_UNFINISHED.fullmatch(name) for name in names)
    touched = max(path.stat().st_mtime for path in (place, *place.iterdir()))
    return begun and touched < time.time() - _FORGOTTEN_S


def _remove(scratch: Path) -> None:
    """What can't be removed now is removed before the next delivery."""
    with contextlib.suppress(OSError):
        shutil.rmtree(scratch, ignore_errors=True)  # raises all the same where a folder can't be closed
    with contextlib.suppress(OSError):
        scratch.rmdir()


def _locked(handle: int) -> bool:
    """Take the lock of an open file, held until it is closed; False where another process holds it, or the
    system has none to give."""
    try:
        if sys.platform == "win32":
            import msvcrt

            os.lseek(handle, 1 << 20, os.SEEK_SET)  # a locked byte can't be read: one far behind the mark
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
            os.lseek(handle, 0, os.SEEK_SET)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
