"""The session file: UTF-8 JSON, every decision and no audio.

Layout: `{"schema": "lagline/session", "version": 2, ...}` and then the fields of values.Session, with the
recordings' paths relative to the file's folder where that is possible. Keys we don't know, at the top and
in lanes and versions, are kept and written back. Opening a file never writes and never runs anything.

A file's content is known by its stamp, so that whatever was written to it meanwhile, by whomever, is noticed
before it would be written over.
"""

from __future__ import annotations

import errno
import os
from hashlib import blake2b
from pathlib import Path
from typing import Any

import msgspec

from lagline.errors import CannotWrite, ChangedOnDisk, SessionUnreadable
from lagline.files import is_file, is_there, whole_or_nothing
from lagline.session.checks import check
from lagline.session.documents import (
    DocumentKind,
    encoded,
    read_document,
    with_unknown_apart,
    with_unknown_back,
)
from lagline.session.lock import Lock, held
from lagline.session.migrations import balances_into_versions
from lagline.session.restore_points import keep, restore_points
from lagline.session.values import Lane, Session, Version

SUFFIX = ".lagline"
AUTOSAVE_KEY = "autosave"  # what an autosave says of itself, beside the session it holds
_BYTES = "bytes_hex"
# A session of 32 lanes with its evidence is a few MiB.
KIND = DocumentKind(
    "session", "lagline/session", version=2, largest_bytes=256 * 2**20, migrations={1: balances_into_versions}
)


def save(session: Session, path: Path, *, known: str | None = None, lock: Lock | None = None) -> str:
    """Write a session file whole or not at all, and keep what it replaces as a restore point; its stamp.

    `known`: the stamp of what may be replaced; None for anything that is there. `lock`: the session's, when
    the caller holds it.

    Raises
    ------
    ChangedOnDisk
        Something else is there than `known`.
    OpenElsewhere
        Another run of Lagline is writing this session.
    CannotWrite
        Disk full, no permission, no such folder.

    Whichever it is, what was there before is still there.
    """
    path = path.absolute()
    data = encoded_session(session, path.parent)
    try:
        with held(path, lock):
            there = _content(path)
            if there is not None and known not in (None, stamp_of(there)):
                raise ChangedOnDisk(path)
            if there is not None and there != data:
                keep(path, there, path.stat().st_mtime)
            with whole_or_nothing(path) as part:
                part.write_bytes(data)
                if _content(path) != there:  # by somebody who knows no locks, just now
                    raise ChangedOnDisk(path)
    except OSError as error:
        raise CannotWrite(path, error) from error
    return stamp_of(data)


def stamp_of(data: bytes) -> str:
    """What a file's content is known by."""
    return blake2b(data, digest_size=16).hexdigest()


def stamp(path: Path) -> str | None:
    """The stamp of what is at `path`; None when nothing is. Raises OSError."""
    there = _content(path)
    return None if there is None else stamp_of(there)


def _content(path: Path) -> bytes | None:
    """Raises OSError."""
    if is_there(path) and not is_file(path):  # a pipe would be waited for for ever
        raise OSError(errno.EEXIST, "something that is not a file is there")
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None


def encoded_session(session: Session, folder: Path, **more: Any) -> bytes:
    """A session file's bytes, with paths relative to `folder`; `more` at the top beside the session's fields.

    Compact when there is more: that is not for people to read.
    """
    return encoded({**_fields(session, folder), **more}, KIND, indented=not more)


def load(path: Path, *, folder: Path | None = None) -> Session:
    """Read a session file. Sources are named, not opened: they may be missing.

    `folder`: from where its paths are meant, when not from where it lies.

    Raises
    ------
    FileMissing, NoPermission
    SessionUnreadable
        Not JSON, not a session, or a value that makes no sense (named in the message).
    SessionTooNew
        Written by a later version of the format.
    """
    path = path.absolute()
    try:
        fields = read_document(path, KIND)
        return session_from(path, fields, folder or path.parent)
    except SessionUnreadable as error:
        points = restore_points(path)
        if not points:
            raise
        step = (
            f"Its state of {points[0].when.astimezone():%Y-%m-%d %H:%M} is kept: "
            "open the session in the desk to take it back."
        )
        raise SessionUnreadable(path, error.reason, step=step) from error


def session_from(path: Path, fields: dict[str, Any], folder: Path) -> Session:
    """The session that the fields of the document at `path` tell of. Raises SessionUnreadable."""
    try:
        return _session({key: value for key, value in fields.items() if key != AUTOSAVE_KEY}, folder)
    except (msgspec.ValidationError, ValueError, OverflowError) as error:
        raise SessionUnreadable(path, str(error)) from error


def plain(value: Any, folder: Path) -> Any:
    """A session, or a part of one, as JSON knows it, with paths relative to `folder`."""

    def path_or_nothing(value: Any) -> Any:
        if isinstance(value, Path):
            return _written(_relative(value, folder))
        raise TypeError(f"a session holds no {type(value).__name__}")

    return msgspec.to_builtins(value, enc_hook=path_or_nothing)


def typed(kind: Any, value: Any, folder: Path) -> Any:
    """The opposite of `plain`. Raises msgspec.ValidationError, ValueError."""

    def deep(kind: type, value: Any) -> Any:
        assert kind is Path  # the one kind of value in a session that JSON does not know
        return _read_path(value, folder)

    return msgspec.convert(value, kind, dec_hook=deep)


def _fields(session: Session, folder: Path) -> dict[str, Any]:
    fields = plain(session, folder)
    fields["lanes"] = [with_unknown_back(lane) for lane in fields["lanes"]]
    fields["versions"] = [with_unknown_back(version) for version in fields["versions"]]
    return with_unknown_back(fields)


def _written(path: str) -> str | dict[str, str]:
    """A path as it stands in the file. Names that are no UTF-8 (old discs have them) stand there as bytes."""
    try:
        path.encode()
    except UnicodeEncodeError:
        return {_BYTES: os.fsencode(path).hex()}
    return path


def _read_path(value: object, folder: Path) -> Path:
    """Raises ValueError."""
    if isinstance(value, dict) and isinstance(value.get(_BYTES), str):
        value = os.fsdecode(bytes.fromhex(value[_BYTES]))
    if not isinstance(value, str) or "\0" in value:
        raise ValueError("a path in it is none")
    return Path(os.path.normpath(folder / value))


def _relative(source: Path, folder: Path) -> str:
    try:
        return Path(os.path.relpath(source, folder)).as_posix()
    except ValueError:  # another drive on Windows
        return source.as_posix()


def _session(fields: dict[str, Any], folder: Path) -> Session:
    """Raises msgspec.ValidationError or ValueError in words."""
    apart = {
        **fields,
        "lanes": [with_unknown_apart(lane, Lane) for lane in _list(fields, "lanes")],
        "versions": [with_unknown_apart(version, Version) for version in _list(fields, "versions")],
    }
    session: Session = typed(Session, with_unknown_apart(apart, Session), folder)
    check(session)
    return session


def _list(fields: dict[str, Any], key: str) -> list[Any]:
    value = fields.get(key)
    if not isinstance(value, list):
        raise ValueError(f"`{key}` is not a list")
    return value
