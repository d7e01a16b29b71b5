"""Real `lagline` processes that a test starts, watches and ends from outside."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

PATIENCE_S = 120.0


def started(*arguments: object, **more: object) -> subprocess.Popen[str]:
    """`lagline` with these arguments, its output kept, in a process group of its own."""
    words = [sys.executable, "-m", "lagline", *(str(argument) for argument in arguments)]
    before = signal.signal(signal.SIGINT, signal.default_int_handler)  # else ignored in the background
    try:
        return subprocess.Popen(
            words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True, **more
        )  # type: ignore[call-overload,no-any-return]
    finally:
        signal.signal(signal.SIGINT, before)


def wait_for(true: Callable[[], object], process: subprocess.Popen[str] | None = None) -> None:
    """Until it is true; fails when the process ends before that, or nothing comes of it."""
    until = time.monotonic() + PATIENCE_S
    while not true():
        if process is not None and process.poll() is not None:
            raise AssertionError(f"ended before: {process.communicate()}")
        assert time.monotonic() < until, "nothing came of it"
        time.sleep(0.005)


def children_of(pid: int) -> list[int]:
    """The processes below a process, from Linux's /proc."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            if int((entry / "stat").read_text().rsplit(")", 1)[1].split()[1]) == pid:
                found.append(int(entry.name))
        except OSError:  # ended meanwhile
            continue
    return found + [below for child in found for below in children_of(child)]


def is_running(pid: int) -> bool:
    """Whether a process is there and has not ended (a zombie has)."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def command_line(pid: int) -> str:
    try:
        return os.fsdecode(Path(f"/proc/{pid}/cmdline").read_bytes()).replace("\0", " ")
    except OSError:
        return ""
