"""One writer at a time: a small file beside the session tells who may write it.

Readable by everybody, so that it can be said who has the session open. It binds Lagline's own processes only;
what others do to the file is noticed by its content (`storage.save`).
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from lagline.errors import OpenElsewhere
from lagline.files import is_file, is_there, whole_or_nothing
from lagline.session.owner import (
    SOMEBODY,
    Owner,
    decoded_owner,
    encoded_owner,
    is_gone,
    is_us,
    silent_s,
    this_run,
)
from lagline.session.places import both, private_folder, state_folder

LOCK_ENDING = ".lock"


class Lock:
    """The right to write a session file, until `release` or until somebody takes it over."""

    def __init__(self, session_path: Path, file: Path | None, *, is_new: bool) -> None:
        """`file` is None where no lock can be written at all; `is_new`: this run did not hold it before."""
        self.session_path, self.is_new = session_path, is_new
        self._file = file

    def sign(self) -> Owner | None:
        """Give a sign of life; who has taken over, when somebody has. A lock that vanished is made again."""
        if self._file is None:
            return None
        with suppress(OSError):  # out of reach: then nobody can have taken it either, or it shows at the next
            try:
                holder = decoded_owner(self._file.read_bytes())
            except FileNotFoundError:
                _write(self._file)
                return None
            if holder is not None and not is_us(holder):
                return holder
            os.utime(self._file)
        return None

    def release(self) -> None:
        """Let others write. What somebody has taken over is left alone."""
        if self._file is None:
            return
        with suppress(OSError):  # one that stays is recognised as left by a run that ended
            holder = decoded_owner(self._file.read_bytes())
            if holder is not None and is_us(holder):
                self._file.unlink()


def take(session_path: Path, *, by_force: bool = False) -> Lock | Owner:
    """The lock of a session file; or who has it, unless `by_force`. Raises nothing.

    Where the session's folder can't be written the lock lies in the user's state folder, and where that
    can't be written either there is none: a session can be opened all the same.
    """
    places = both(session_path, LOCK_ENDING)
    for file in places:
        holder = _living(file)
        if holder is not None and is_us(holder):
            return Lock(session_path, file, is_new=False)
        if holder is not None and not by_force:
            return holder
    for file in places:
        try:
            if file.parent == state_folder():
                private_folder(file.parent)
            _write(file, over=by_force)
        except FileExistsError:  # one that was left behind, or somebody was quicker
            holder = _living(file)
            if holder is not None:
                return holder
            with suppress(OSError):
                _write(file, over=True)
                return Lock(session_path, file, is_new=True)
        except OSError:
            continue
        else:
            return Lock(session_path, file, is_new=True)
    return Lock(session_path, None, is_new=True)


@contextmanager
def held(session_path: Path, lock: Lock | None = None) -> Iterator[None]:
    """Hold the lock while something is written: this one, if it is still ours. Raises OpenElsewhere."""
    found = lock or take(session_path)
    owner = found if isinstance(found, Owner) else found.sign()
    if owner is not None:
        raise OpenElsewhere(session_path, owner.words)
    try:
        yield
    finally:
        if isinstance(found, Lock) and found is not lock and found.is_new:
            found.release()


def _living(file: Path) -> Owner | None:
    """Who holds this lock, if they are still there."""
    try:
        silent = silent_s(file)
    except OSError:
        return None
    holder: Owner | None = SOMEBODY
    if is_file(file):  # reading a pipe would not end
        with suppress(OSError):  # it may not be read: then signs of life are all that is known
            holder = decoded_owner(file.read_bytes())
    return None if holder is None or is_gone(holder, silent) else holder


def _write(file: Path, *, over: bool = False) -> None:
    """Whole or not at all. Raises OSError; FileExistsError when there is one already, unless `over`."""
    own = file.with_name(f"{file.name}.{this_run().token}")
    try:
        with whole_or_nothing(own, lasting=False) as part:
            part.write_bytes(encoded_owner(this_run()))
        if over:
            own.replace(file)
        else:
            _name_anew(own, file)
    finally:
        own.unlink(missing_ok=True)


def _name_anew(own: Path, file: Path) -> None:
    """As a rename, but never over what is there."""
    try:
        file.hardlink_to(own)
    except FileExistsError:
        raise
    except OSError as error:  # a file system without links: the loser of a race notices at its next sign
        if is_there(file):
            raise FileExistsError(error.errno, error.strerror) from error
        own.replace(file)
