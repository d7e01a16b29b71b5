"""Saves a session over an older one and dies at one call after the other: `python killed_saves.py FOLDER`.

Each save runs in a forked process that ends, as by a power cut, before its n-th operation on files, or in
the middle of a write of some size. Prints as JSON how many were killed, and what was found afterwards:
"old" or "new" for the session and its restore points. Anything else in there is a session that was lost.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import signal
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from lagline.errors import LaglineError
from lagline.session.restore_points import restore_points
from lagline.session.storage import load, save
from lagline.session.values import Lane, Session, Source

# What Python tells its auditors before it does it (docs.python.org, "Audit events table").
EVENTS = ("open", "os.chmod", "os.remove", "os.rename", "tempfile.mkstemp")
KILLED = 77


def die_before(call: int) -> None:
    """End this process, without any cleaning up, before the `call`-th operation on files from now on."""
    seen = 0

    def count(*_: Any) -> None:
        nonlocal seen
        seen += 1
        if seen > call:
            os._exit(KILLED)

    def listen(event: str, arguments: tuple[Any, ...]) -> None:
        if event in EVENTS:
            count()

    real = os.fsync

    def fsync(handle: int) -> None:
        count()
        real(handle)

    sys.addaudithook(listen)
    os.fsync = fsync  # not audited


def die_writing(size_bytes: int) -> None:
    """End this process in the middle of the write that makes a file larger than this."""
    signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_FSIZE, (size_bytes, size_bytes))


def died(prepare: Callable[[], None], session: Session, path: Path) -> bool:
    child = os.fork()
    if child == 0:
        prepare()
        save(session, path)
        os._exit(0)
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    assert status in (0, KILLED, -signal.SIGXFSZ), status
    return status != 0


def found(path: Path) -> str:
    try:
        return load(path).notes
    except LaglineError as error:
        return f"lost: {error}"


def tried(folder: Path, prepare: Callable[[], None], result: dict[str, Any]) -> bool:
    """One save that may be killed, from the same beginning, and a look at what it left."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    os.environ["LAGLINE_STATE_DIR"] = str(folder / "state")
    path = folder / "take.lagline"
    lane = Lane("a", "Near", Source(folder / "near.wav", 0, 48_000, 9, 9))
    older, old, new = (Session(48_000, (lane,), notes=word) for word in ("older", "old", "new"))
    save(older, path)
    save(old, path)
    was_killed = died(prepare, new, path)
    result["killed"] += was_killed
    result["sessions"].append(found(path))
    result["points"] += [found(point.path) for point in restore_points(path)]
    save(new, path)  # what a killed save leaves lying about is in nobody's way
    assert found(path) == "new"
    return was_killed


def main(folder: Path) -> None:
    result: dict[str, Any] = {"killed": 0, "sessions": [], "points": []}
    call = 0
    while tried(folder, partial(die_before, call), result):
        call += 1
    size = 0
    while tried(folder, partial(die_writing, size), result):
        size += 97
    print(json.dumps(result))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
