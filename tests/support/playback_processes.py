"""Waiting for playback and seeing its processes."""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Callable


def until(condition: Callable[[], bool], seconds: float = 30.0) -> None:
    """Wait for a condition; processes start when the machine lets them."""
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.005)


def engines() -> set[int | None]:
    """Process ids of the engine and its spare."""
    return {child.pid for child in multiprocessing.active_children() if child.name == "lagline playback"}
