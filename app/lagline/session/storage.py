"""The session file: UTF-8 JSON, every decision and no audio.

Layout: `{"schema": "lagline/session", "version": 1, ...}` and then the fields of values.Session, with the
recordings' paths relative to the file's folder where that is possible. Keys we don't know, at the top and
in lanes and versions, are kept and written back. Opening a file never writes and never runs anything.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import msgspec

from lagline.errors import CannotWrite, SessionUnreadable
from lagline.files import write_whole
from lagline.session.checks import check
from lagline.session.documents import (
    DocumentKind,
    read_document,
    with_unknown_apart,
    with_unknown_back,
    write_document,
)
from lagline.session.values import Lane, Session, Version

SUFFIX = ".lagline"
_BYTES = "bytes_hex"
# A session of 32 lanes with its evidence is a few MiB.
KIND = DocumentKind("session", "lagline/session", version=1, largest_bytes=256 * 2**20)


def backup_path(path: Path) -> Path:
    """Where the state before the last save is kept."""
    return path.with_name(path.name + ".bak")


def save(session: Session, path: Path) -> None:
    """Write a session file whole or not at all; the previous one is kept as `NAME.lagline.bak`.

    Raises
    ------
    CannotWrite
        Disk full, no permission, no such folder. What was there before is still there.
    """
    path = path.absolute()
    try:
        if path.exists():
            write_whole(backup_path(path), path.read_bytes())
    except OSError as error:
        raise CannotWrite(backup_path(path), error) from error
    save_without_backup(session, path)


def save_without_backup(session: Session, path: Path, *, indented: bool = True) -> None:
    """`save` for files that are themselves a second copy. Raises CannotWrite."""
    path = path.absolute()
    write_document(path, _fields(session, path.parent), KIND, indented=indented)


def load(path: Path) -> Session:
    """Read a session file. Sources are named, not opened: they may be missing.

    Raises
    ------
    FileMissing, NoPermission
    SessionUnreadable
        Not JSON, not a session, or a value that makes no sense (named in the message).
    SessionTooNew
        Written by a later version of the format.
    """
    path = path.absolute()
    fields = read_document(path, KIND)
    try:
        return _session(fields, path.parent)
    except (msgspec.ValidationError, ValueError, OverflowError) as error:
        raise SessionUnreadable(path, str(error)) from error


def _fields(session: Session, folder: Path) -> dict[str, Any]:
    def plain(value: Any) -> Any:
        if isinstance(value, Path):
            return _written(_relative(value, folder))
        raise TypeError(f"a session holds no {type(value).__name__}")

    fields = msgspec.to_builtins(session, enc_hook=plain)
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

    def deep(kind: type, value: Any) -> Any:
        assert kind is Path  # the one kind of value in a session that JSON does not know
        return _read_path(value, folder)

    session = msgspec.convert(with_unknown_apart(apart, Session), Session, dec_hook=deep)
    check(session)
    return session


def _list(fields: dict[str, Any], key: str) -> list[Any]:
    value = fields.get(key)
    if not isinstance(value, list):
        raise ValueError(f"`{key}` is not a list")
    return value
