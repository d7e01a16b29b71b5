"""The state of unsaved work, with the way it came to be, kept on disk and offered after a crash.

Every run of the program keeps its own: hidden beside the session file, or in the user's state folder for
work without a file and where the session's folder can't be written. A run that ends in order discards its
autosave, so one whose owner has gone is what a crash left. The file is a session with `autosave` beside its
fields, so that setting it aside is giving it another name.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct

from lagline.errors import CannotWrite, FileMissing, LaglineError, SessionUnreadable
from lagline.files import is_file, write_whole
from lagline.session.documents import read_document
from lagline.session.history import History, packed, unpacked
from lagline.session.owner import Owner, is_gone, is_us, silent_s, this_run
from lagline.session.places import beside, private_folder, state_folder
from lagline.session.storage import AUTOSAVE_KEY, KIND, SUFFIX, encoded_session, session_from
from lagline.session.values import Session

AUTOSAVE_ENDING = ".autosave"
_UNSAVED = "unsaved"
_TOKEN = re.compile(r"\.[0-9a-f]{12}$")


class Kept(Struct, frozen=True):
    """What was on a desk when it ended."""

    file: Path
    session: Session
    history: History
    known: str | None  # the stamp that its session file had on the disk
    when: datetime


class LeftBehind(Struct, frozen=True):
    """What runs that are gone left: newest first, and files that can't be read with the reason."""

    kept: tuple[Kept, ...] = ()
    unreadable: tuple[tuple[Path, LaglineError], ...] = ()


class _Head(Struct):
    owner: Owner
    known: str | None = None
    when: str = ""


class _Whose(Struct):
    autosave: _Head


def autosave_path(session_path: Path | None) -> Path:
    """Where this run keeps its autosave for a session file, or for work without one."""
    token = this_run().token
    if session_path is None:
        return state_folder() / f"{_UNSAVED}.{token}{AUTOSAVE_ENDING}"
    return beside(session_path, f".{token}{AUTOSAVE_ENDING}")


def write_autosave(
    session: Session, session_path: Path | None, history: History | None = None, known: str | None = None
) -> Path:
    """Keep the session as it is now, for its owner alone to read; where it lies. Raises CannotWrite.

    `known` is the stamp of the session file that the work began with (see `storage.save`).
    """
    if session_path is not None:
        with suppress(CannotWrite):  # a demo, a disc, a full drive: the state folder is the second best place
            return _write(autosave_path(session_path), session, history, known)
    path = autosave_path(None)
    try:
        private_folder(path.parent)
    except OSError as error:
        raise CannotWrite(path, error) from error
    return _write(path, session, history, known)


def _write(path: Path, session: Session, history: History | None, known: str | None) -> Path:
    head: dict[str, Any] = {
        "owner": msgspec.to_builtins(this_run()), "known": known,
        "when": datetime.now().astimezone().isoformat(),
    }  # fmt: skip
    if history is not None:
        head["history"] = packed(history, path.parent)
    try:
        write_whole(path, encoded_session(session, path.parent, **{AUTOSAVE_KEY: head}), private=True)
    except OSError as error:
        raise CannotWrite(path, error) from error
    return path


def sign(files: Iterable[Path]) -> None:
    """Tell others that these autosaves' owner lives."""
    for file in files:
        with suppress(OSError):  # the worst is that the work is offered to another window as well
            os.utime(file)


def left_behind(session_path: Path, *, apart_from: Owner | None = None) -> LeftBehind:
    """What runs that are gone left of this session; `apart_from`: whose work is still in their window."""
    # Without a token it is of a version that kept one for all runs.
    name = re.compile(rf"\.{re.escape(session_path.name)}(\.[0-9a-f]{{12}})?{re.escape(AUTOSAVE_ENDING)}")
    return _read(session_path.absolute().parent, name, apart_from)


def unsaved_left_behind() -> LeftBehind:
    """What runs that are gone left of work without a file."""
    return _read(state_folder(), re.compile(rf"{_UNSAVED}[-.].*{re.escape(AUTOSAVE_ENDING)}"), None)


def read_autosave(file: Path) -> Kept:
    """Raises as `storage.load`. A history that makes no sense is left out: the work itself is whole."""
    fields = read_document(file, KIND)
    session = session_from(file, fields, file.parent)
    head: Any = fields.get(AUTOSAVE_KEY)
    head = head if isinstance(head, dict) else {}
    try:
        history = unpacked(head["history"], session, file.parent)
    except (KeyError, ValueError):  # also msgspec.ValidationError
        history = History((session,))
    known = head.get("known")
    try:
        when = datetime.fromisoformat(head["when"])
    except (KeyError, ValueError, TypeError):
        when = datetime.fromtimestamp(file.stat().st_mtime).astimezone()
    return Kept(file, session, history, known if isinstance(known, str) else None, when)


def set_aside(autosave: Path) -> Path:
    """Give an autosave that nobody wants now the name of a session of its own; its new place.

    Raises OSError; then it is where it was.
    """
    stem = _TOKEN.sub("", autosave.name.removesuffix(AUTOSAVE_ENDING)).removesuffix(SUFFIX).lstrip(".")
    number = 1
    while (target := autosave.with_name(f"{stem} (set aside {number}){SUFFIX}")).exists():
        number += 1
    return autosave.rename(target)


def _read(folder: Path, name: re.Pattern[str], apart_from: Owner | None) -> LeftBehind:
    kept, unreadable = [], []
    for file in _files(folder):
        if not name.fullmatch(file.name) or not is_file(file) or not _is_left(file, apart_from):
            continue
        try:
            kept.append(read_autosave(file))
        except FileMissing:
            continue  # taken away meanwhile
        except LaglineError as error:
            unreadable.append((file, error))
        except OSError as error:
            unreadable.append((file, SessionUnreadable(file, error.strerror or str(error))))
    return LeftBehind(
        tuple(sorted(kept, key=lambda one: one.when.timestamp(), reverse=True)), tuple(unreadable)
    )


def _files(folder: Path) -> list[Path]:
    try:
        return list(folder.iterdir())
    except OSError:  # there is none, or none that may be looked into
        return []


def _is_left(file: Path, apart_from: Owner | None) -> bool:
    try:
        silent = silent_s(file)
        owner = _owner(file)
    except OSError:
        return False  # gone, or out of reach
    if owner is None:
        return True  # whoever lives writes whole files that name their owner
    return not is_us(owner) and owner != apart_from and is_gone(owner, silent)


def _owner(file: Path) -> Owner | None:
    """None when the file does not tell: it is damaged, or of an early version. Raises OSError."""
    try:
        return msgspec.json.decode(file.read_bytes(), type=_Whose).autosave.owner
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
