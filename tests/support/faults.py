"""Makes one operation on files after the other fail, the way a full disk or a pulled drive does."""

from __future__ import annotations

import errno
import os
import resource
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

# What Python tells its auditors before it does it (docs.python.org, "Audit events table").
EVENTS = frozenset({
    "open", "os.chmod", "os.link", "os.listdir", "os.mkdir", "os.remove", "os.rename", "os.rmdir",
    "os.scandir", "os.truncate", "os.utime", "tempfile.mkdtemp", "tempfile.mkstemp",
})  # fmt: skip
KINDS = (
    errno.ENOSPC,
    errno.EACCES,
    errno.EIO,
    errno.EROFS,
    errno.ENAMETOOLONG,
    errno.ETIMEDOUT,
    errno.ESTALE,
)

_below: str | None = None
_fails_at = -1
_seen = 0
_kind = errno.EIO


def _listen(event: str, arguments: tuple[Any, ...]) -> None:
    global _seen
    if _below is None or event not in EVENTS or not arguments:
        return
    try:
        name = os.fspath(arguments[0])
    except TypeError:  # an open file's number
        return
    text = os.fsdecode(name)
    if not text.startswith(_below):
        return
    _seen += 1
    if _seen - 1 == _fails_at:
        raise OSError(_kind, os.strerror(_kind), text)


sys.addaudithook(_listen)  # can't be taken away again; it does nothing unless `failing` is entered


@contextmanager
def failing(at: int, kind: int, below: Path) -> Iterator[Callable[[], bool]]:
    """The `at`-th operation (from 0) on files below a folder fails; what it gives tells whether it did."""
    global _below, _fails_at, _seen, _kind
    _below, _fails_at, _seen, _kind = str(below), at, 0, kind
    try:
        yield lambda: _seen > at
    finally:
        _below = None


@contextmanager
def largest_file(size_bytes: int) -> Iterator[None]:
    """No file may grow beyond `size_bytes`, in C code neither: writing more fails as on a full disk."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
