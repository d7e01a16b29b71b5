"""Runs of the program that are over, or that wait: real processes, each with an identity of its own."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_IMPORTS = (
    "import os, sys\n"
    "from pathlib import Path\n"
    "from lagline.session.autosave import write_autosave\n"
    "from lagline.session.history import History\n"
    "from lagline.session.lock import Lock, take\n"
    "from lagline.session.storage import load, save, stamp\n"
    "path = Path(sys.argv[1])\n"
)


def run_and_end(path: Path, code: str) -> str:
    """What a process prints that does this (`path` is the session's) and ends without tidying up."""
    words = [sys.executable, "-c", f"{_IMPORTS}{code}\nsys.stdout.flush()\nos._exit(0)", str(path)]
    return subprocess.run(words, check=True, stdout=subprocess.PIPE, text=True).stdout.strip()


@contextmanager
def running(path: Path, code: str) -> Iterator[subprocess.Popen[str]]:
    """The same process, alive until the end; it has done its work when this begins."""
    words = [
        sys.executable,
        "-c",
        f"{_IMPORTS}{code}\nprint('done', flush=True)\nsys.stdin.read()",
        str(path),
    ]
    process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdin is not None and process.stdout is not None
    try:
        assert process.stdout.readline().strip() == "done"
        yield process
    finally:
        process.kill()
        process.wait()
        process.stdin.close()
        process.stdout.close()


def crashed_with(work: Path, path: Path | None) -> None:
    """A run had the session of the file `work` on its desk, unsaved, as that of `path`, and was killed."""
    session_path = "None" if path is None else f"Path({str(path)!r})"
    run_and_end(work, f"write_autosave(load(path), {session_path})")
