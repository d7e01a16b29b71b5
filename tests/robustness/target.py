"""What a target of fuzzing is; a folder to work in and a word for what became of an input, for all."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

import msgspec
from tests.robustness.mutation import Damage

from lagline.errors import LaglineError


class Target(msgspec.Struct, frozen=True):
    name: str
    seeds: Callable[[], tuple[bytes, ...]]
    run: Callable[[bytes], str]
    damage: Damage
    words: tuple[str, ...] = ()  # what inputs are made of, for the guided fuzzer


@cache
def folder() -> Path:
    """A folder in memory where the system has one; gone at the end."""
    memory = Path("/dev/shm")
    place = Path(tempfile.mkdtemp(prefix="lagline-fuzz-", dir=memory if os.access(memory, os.W_OK) else None))
    import atexit

    atexit.register(shutil.rmtree, place, ignore_errors=True)
    return place


def outcome(read: Callable[[], object]) -> str:
    try:
        read()
    except LaglineError as error:
        assert str(error), "an error without a sentence"
        return type(error).__name__
    return "read"
