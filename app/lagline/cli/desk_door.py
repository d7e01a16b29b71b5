"""What the command line asks of the desk, without importing it."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

TRY_WINDOW = "--try-window"


class DeskDoor(Protocol):
    """What the commands need of the desk, so that they can be loaded without Qt."""

    def open(self, paths: Sequence[Path], *, measure: bool = False) -> int:
        """Open the desk on these files, and measure them; returns its exit code when the window closes."""
        ...

    def picture(self, session: Path, png: Path, width: int, height: int, dark: bool) -> None:
        """Draw the desk with a session into a picture file; needs no display."""
        ...

    def paper(self, page: str) -> bytes:
        """A page (HTML of a report or sheet) as a PDF; needs no display. ImportError without the library."""
        ...


def missing_display() -> str | None:
    """Why there is surely no display, told without loading Qt; None when there may be one."""
    wanted = ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")
    if sys.platform.startswith("linux") and not any(os.environ.get(name) for name in wanted):
        return "there is no display"
    if importlib.util.find_spec("PySide6") is None:
        return "the window library PySide6 is not installed"
    return None


def window_problem() -> str | None:
    """Why no window can be opened here, found by opening Qt in another process; None when one can.

    Qt ends the whole process when it can't reach the display, so it is not tried in ours.
    """
    problem = missing_display()
    if problem:
        return problem
    # A bundle is no interpreter: started again it is Lagline, which tries this word before all else.
    program = [sys.executable] if getattr(sys, "frozen", False) else [sys.executable, "-m", "lagline"]
    attempt = subprocess.run(
        [*program, TRY_WINDOW],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    if attempt.returncode == 0:
        return None
    lines = [line for line in attempt.stderr.splitlines() if line.strip()]
    telling = [line for line in lines if "could not" in line.lower()] or lines[-1:]
    return telling[0].strip() if telling else f"Qt ended with {attempt.returncode}"
