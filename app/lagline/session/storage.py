"""The session file: UTF-8 JSON, every decision and no audio.

Layout: `{"schema": "lagline/session", "version": 1, ...}` and then the fields of values.Session, with the
recordings' paths relative to the file's folder where that is possible. Keys we don't know, at the top and
in lanes and versions, are kept and written back. Opening a file never writes and never runs anything.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec

from lagline.errors import CannotWrite, SessionUnreadable
from lagline.files import write_whole
from lagline.session.documents import (
    DocumentKind,
    read_document,
    with_unknown_apart,
    with_unknown_back,
    write_document,
)
from lagline.session.values import ORIGINAL_ID, Lane, Session, Version

SUFFIX = ".lagline"
# A session of 32 lanes with its evidence is a few MiB.
KIND = DocumentKind("session", "lagline/session", version=1, largest_bytes=256 * 2**20)
MOST_LANES = 1024


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
        raise CannotWrite(backup_path(path), error.strerror or str(error)) from error
    save_without_backup(session, path)


def save_without_backup(session: Session, path: Path) -> None:
    """`save` for files that are themselves a second copy. Raises CannotWrite."""
    path = path.absolute()
    write_document(path, _fields(session, path.parent), KIND)


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
            return _relative(value, folder)
        raise TypeError(f"a session holds no {type(value).__name__}")

    fields = msgspec.to_builtins(session, enc_hook=plain)
    fields["lanes"] = [with_unknown_back(lane) for lane in fields["lanes"]]
    fields["versions"] = [with_unknown_back(version) for version in fields["versions"]]
    return with_unknown_back(fields)


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
        if kind is Path and isinstance(value, str):
            if "\0" in value:
                raise ValueError("a path holds a character that no path has")
            return Path(os.path.normpath(folder / value))
        raise ValueError(f"{value!r} is not a {kind.__name__}")

    session = msgspec.convert(with_unknown_apart(apart, Session), Session, dec_hook=deep)
    _check(session)
    return session


def _list(fields: dict[str, Any], key: str) -> list[Any]:
    value = fields.get(key)
    if not isinstance(value, list):
        raise ValueError(f"`{key}` is not a list")
    return value


def _check(session: Session) -> None:
    """What the types alone don't say. Raises ValueError in words."""
    if not 1 <= session.rate_hz <= 10_000_000:
        raise ValueError(f"a rate of {session.rate_hz} Hz makes no sense")
    if len(session.lanes) > MOST_LANES:
        raise ValueError(f"{len(session.lanes)} lanes are more than the {MOST_LANES} a session holds")
    ids = [lane.id for lane in session.lanes]
    if len(set(ids)) != len(ids):
        raise ValueError("two lanes have the same id")
    if len({lane.name.casefold() for lane in session.lanes}) != len(ids):
        raise ValueError("two lanes have the same name")
    version_ids = [version.id for version in session.versions]
    if not version_ids or len(set(version_ids)) != len(version_ids) or ORIGINAL_ID in version_ids:
        raise ValueError("its versions do not each have an id of their own")
    if session.current_version_id not in version_ids:
        raise ValueError("its current version is not among its versions")
    if session.anchor_id is not None and session.anchor_id not in ids:
        raise ValueError("its anchor is not among its lanes")
    if session.alignment is not None and session.alignment.anchor_id not in ids:
        raise ValueError("its findings are against a lane that is not there")
    if session.loop is not None and session.loop[0] >= session.loop[1]:
        raise ValueError("its loop ends before it starts")
    for version in session.versions:
        for lane_id, move in version.moves.items():
            if lane_id not in ids:
                raise ValueError(f"version {version.name} moves a lane that is not there")
            if move.polarity not in (1, -1):
                raise ValueError(f"a polarity of {move.polarity} in version {version.name} makes no sense")
    for lane in session.lanes:
        source = lane.source
        if source.channel < 0 or source.frames < 0 or not 1 <= source.rate_hz <= 10_000_000:
            raise ValueError(f"lane {lane.name} names a recording that cannot be")
    if not all(abs(number) <= 1e12 for number in _numbers(session)):
        raise ValueError("a number in it is not finite or far too large")


def _numbers(session: Session) -> Iterator[float]:
    yield session.temperature_c
    if not -100 <= session.temperature_c <= 100:
        yield math.inf
    yield from session.loop or ()
    for lane in session.lanes:
        yield from (lane.gain_db, lane.pan, lane.place_samples, lane.source.frames)
    for version in session.versions:
        for move in version.moves.values():
            yield from (move.shift_samples, move.rate_ppm)
