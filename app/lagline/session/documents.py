"""What all our JSON files share: a schema name, a format version, plain errors, and unknown keys kept."""

from __future__ import annotations

import stat
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import msgspec

from lagline.errors import CannotWrite, FileMissing, NoPermission, SessionTooNew, SessionUnreadable
from lagline.files import write_whole

# A measured lane takes some 90 kB. Made for it, 60 MB of text take thirty times as much.
MOST_MEMORY = 256 * 2**20

Migration = Callable[[dict[str, Any]], dict[str, Any]]


class DocumentKind(msgspec.Struct, frozen=True):
    """One kind of file: its name in sentences, its schema, the version written, and how old ones change."""

    word: str
    schema: str
    version: int
    largest_bytes: int
    migrations: Mapping[int, Migration] = {}  # from that version to the next


class _Header(msgspec.Struct):
    """Whatever the version is called: a wrong one is told apart from another kind of file."""

    schema: str
    version: int | float | str | bool | None = None


def read_document(path: Path, kind: DocumentKind) -> dict[str, Any]:
    """The file's fields without `schema` and `version`, as the newest version has them.

    Raises
    ------
    FileMissing, NoPermission
    SessionUnreadable
        Not JSON, not of this kind, far too large: on the disk, or as values in memory.
    SessionTooNew
        Written by a later version of the format.
    """
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):  # a link to a device would be read for ever
            what = "a folder" if stat.S_ISDIR(status.st_mode) else "not a file"
            raise SessionUnreadable(path, f"it is {what}", kind.word)
        if status.st_size > kind.largest_bytes:
            raise SessionUnreadable(path, f"it is far larger than any {kind.word}", kind.word)
        data = path.read_bytes()
        version = _version(path, data, kind)
        if _memory(data) > MOST_MEMORY:
            raise SessionUnreadable(path, f"it holds far more than any {kind.word}", kind.word)
        document = msgspec.json.decode(data)
    except FileNotFoundError as error:
        raise FileMissing(path) from error
    except PermissionError as error:
        raise NoPermission(path) from error
    except OSError as error:
        raise SessionUnreadable(path, error.strerror or str(error), kind.word) from error
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        where = str(error).removeprefix("JSON is malformed: ")
        raise SessionUnreadable(path, f"it is not whole JSON: {where}", kind.word) from error
    for step in range(version, kind.version):
        document = kind.migrations[step](document)
    return {key: value for key, value in document.items() if key not in ("schema", "version")}


def _version(path: Path, data: bytes, kind: DocumentKind) -> int:
    """The version of a document of this kind, without making values of the rest: that may be anything.

    Raises msgspec.DecodeError for what is not JSON, SessionUnreadable, SessionTooNew.
    """
    try:
        header = msgspec.json.decode(data, type=_Header)
    except msgspec.ValidationError as error:
        raise SessionUnreadable(
            path, f'it does not begin with "schema": "{kind.schema}"', kind.word
        ) from error
    if header.schema != kind.schema:
        raise SessionUnreadable(path, f'it does not begin with "schema": "{kind.schema}"', kind.word)
    version = header.version
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise SessionUnreadable(path, "its version is not a number", kind.word)
    if version > kind.version:
        raise SessionTooNew(path, version, kind.version)
    return version


def _memory(data: bytes) -> int:
    """Bytes that the values of a JSON text take in memory at most, roughly: guessed from its signs.

    CPython on 64 bits: a number 24 and 8 for its place, a short string 50, an empty list 56, a dictionary
    with one key 184.
    """
    return sum(cost * data.count(sign) for sign, cost in ((b",", 32), (b"[", 64), (b"{", 184), (b'"', 24)))


def encoded(fields: Mapping[str, Any], kind: DocumentKind, *, indented: bool = True) -> bytes:
    """The file's bytes: schema and version first, then the fields, `indented` for people to read.

    Made in pieces: no other thread runs while one is made, and the desk's must not wait long for one of ours.
    """
    document = {"schema": kind.schema, "version": kind.version, **fields}
    whole = msgspec.json.encode(_in_pieces(document))
    return msgspec.json.format(whole, indent=1) if indented else whole


def _in_pieces(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _in_pieces(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [msgspec.Raw(msgspec.json.encode(inner)) for inner in value]
    return value


def write_document(
    path: Path, fields: Mapping[str, Any], kind: DocumentKind, *, indented: bool = True
) -> None:
    """Write the file whole or not at all. Raises CannotWrite."""
    try:
        write_whole(path, encoded(fields, kind, indented=indented))
    except OSError as error:
        raise CannotWrite(path, error) from error


def with_unknown_apart(fields: object, kind: type[msgspec.Struct]) -> dict[str, Any]:
    """The fields with those that `kind` doesn't have moved into its `extra`. Raises ValueError."""
    if not isinstance(fields, dict):
        raise ValueError(f"a {kind.__name__.lower()} is not an object")
    names = set(kind.__struct_fields__) - {"extra"}
    known = {key: value for key, value in fields.items() if key in names}
    return {**known, "extra": {key: value for key, value in fields.items() if key not in names}}


def with_unknown_back(fields: dict[str, Any]) -> dict[str, Any]:
    """The opposite: what stood in `extra` beside the fields again; known fields win."""
    return {**fields.get("extra", {}), **{key: value for key, value in fields.items() if key != "extra"}}
