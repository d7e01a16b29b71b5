"""Keeps what is fuzzed inside one folder and off the network, through the interpreter's audit events."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path

_CHANGES = ("os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.link", "os.symlink", "os.truncate")
_inside: Path | None = None


class OutsideTheFence(RuntimeError):
    """Something wrote outside the folder or asked for a connection. (An OSError would be caught.)"""


@contextlib.contextmanager
def only_below(place: Path) -> Iterator[None]:
    """Whatever is written elsewhere than below `place` raises OutsideTheFence, from any thread."""
    global _inside
    before, _inside = _inside, place.resolve()
    try:
        yield
    finally:
        _inside = before


def _listen(event: str, arguments: tuple[object, ...]) -> None:
    if _inside is None:
        return
    if event.startswith(
        ("socket.connect", "socket.bind", "socket.send", "urllib", "subprocess", "os.system")
    ):
        raise OutsideTheFence(f"{event} {arguments}")
    if event == "open":
        named, flags = arguments[:1], arguments[2]
        writes = isinstance(flags, int) and flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
    else:
        named, writes = arguments[:2], event in _CHANGES
    if not writes:
        return
    for name in named:
        if not isinstance(name, (str, bytes, os.PathLike)):
            continue  # a handle that is open already, or a mode
        path = Path(os.fsdecode(name))
        if path != Path(os.devnull) and not path.parent.resolve().is_relative_to(_inside):
            raise OutsideTheFence(f"{event} {path}")


sys.addaudithook(_listen)  # can't be taken away again; it does nothing outside `only_below`
