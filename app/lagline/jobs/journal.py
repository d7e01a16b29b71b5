"""The journal of a batch: one line a finished take, so that a batch that was stopped can go on.

A line is written whole and put on the disk before the next take counts as done; a last line that a crash
cut off is ignored and its take done again.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Literal

import msgspec
from msgspec import Struct

from lagline.errors import CannotWrite, JournalMismatch, NoBatch
from lagline.files import is_file

NAME = "journal.jsonl"


class LaneResult(Struct, frozen=True):
    """One lane of a finished take: the finding in short, and how it agrees with the setup."""

    name: str
    trust_word: str
    arrival_samples: float | None
    polarity: int | None
    shift_samples: float  # what the take's session does now
    against_setup: str = ""  # "agrees", "moved", "not comparable", or empty without a setup
    difference_samples: float | None = None


class TakeResult(Struct, frozen=True):
    """What became of one take."""

    take: str
    state: Literal["done", "failed"]
    error: str = ""
    rate_hz: int = 0
    anchor: str = ""
    lanes: tuple[LaneResult, ...] = ()
    warnings: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()  # of its recordings, and files that could not be read

    @property
    def is_well(self) -> bool:
        """Measured, and every recording sound."""
        return self.state == "done" and not self.faults


class _Head(Struct, frozen=True, tag_field="schema", tag="lagline/batch/1"):
    """First line: what was asked for, so that nobody goes on with something else."""

    asked: str


def read_journal(folder: Path, asked: str) -> list[TakeResult]:
    """The takes already finished in `folder`; empty when nothing was begun there.

    Raises
    ------
    JournalMismatch
        The batch begun there was asked for something else, or the file is no journal.
    """
    path = folder / NAME
    if not _begun(path):
        return []
    head, results = _read(path)
    if head.asked != asked:
        raise JournalMismatch(path, _otherwise(head.asked.split("; "), asked.split("; ")))
    return results


def _otherwise(then: list[str], now: list[str]) -> str:
    """What differs, in words."""
    gone = [part for part in then if part not in now]
    new = [part for part in now if part not in then]
    return (
        f"the batch begun there: {', '.join(gone) or 'without'}; asked for now: {', '.join(new) or 'without'}"
    )


def finished(folder: Path) -> list[TakeResult]:
    """The takes finished in `folder`, whatever was asked for: to merge summaries.

    Raises NoBatch, JournalMismatch.
    """
    path = folder / NAME
    if not _begun(path):
        raise NoBatch(folder)
    return _read(path)[1]


def _begun(path: Path) -> bool:
    """A first line that a crash cut off counts as nothing begun."""
    try:
        return is_file(path) and b"\n" in path.read_bytes()
    except OSError as error:
        raise JournalMismatch(path, error.strerror or "it cannot be read") from error


def _read(path: Path) -> tuple[_Head, list[TakeResult]]:
    try:
        first, *rest = path.read_bytes().split(b"\n")
        return msgspec.json.decode(first, type=_Head), _results(rest)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise JournalMismatch(path, "it is no journal of a batch") from error
    except OSError as error:
        raise JournalMismatch(path, error.strerror or "it cannot be read") from error


def _results(lines: list[bytes]) -> list[TakeResult]:
    results: dict[str, TakeResult] = {}
    for line in lines:
        try:
            result = msgspec.json.decode(line, type=TakeResult)
        except (msgspec.MsgspecError, UnicodeDecodeError):
            continue  # cut off by a crash, or what a crash left before it: that take is done again
        results[result.take] = result
    return list(results.values())


class Journal:
    """Appends results; one owner at a time."""

    def __init__(self, folder: Path, asked: str) -> None:
        """Raises CannotWrite."""
        self._path = folder / NAME
        try:
            folder.mkdir(parents=True, exist_ok=True)
            begun = _begun(self._path)
            # Unbuffered: what a full disk refused must not be tried again when the file is closed.
            self._file = self._path.open("ab" if begun else "wb", buffering=0)
        except OSError as error:
            raise CannotWrite(self._path, error) from error
        try:
            # After a line that was cut off the next one must not be glued to it.
            self._append(msgspec.json.encode(_Head(asked)) if not begun else b"")
        except CannotWrite:
            self._file.close()
            raise

    def add(self, result: TakeResult) -> None:
        """On the disk when this returns. Raises CannotWrite."""
        self._append(msgspec.json.encode(result))

    def close(self) -> None:
        """Let go of the file; what was recorded is on the disk already."""
        self._file.close()

    def _append(self, line: bytes) -> None:
        try:
            left = memoryview(line + b"\n")
            while left:
                left = left[self._file.write(left) :]
            os.fsync(self._file.fileno())
        except OSError as error:
            raise CannotWrite(self._path, error) from error
