"""Tells sound that came late by itself from sound that came late because the whole machine stood still.

Not a benchmark itself. A virtual machine is stopped now and then by the one it runs on, mostly on all its
processors at once; nothing that runs there can play meanwhile. The witness is a process with a thread on
every processor that does nothing but sleep for a millisecond and look at the clock, before everything else
where the system allows that. When it is late, so is everybody there.
"""

from __future__ import annotations

import multiprocessing
import os
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from multiprocessing.connection import Connection
from typing import Any

from msgspec import Struct

from lagline.playback.board import Board, Field

STEP_S = 0.001
STOP_S = 0.002  # later than this the witness says that the machine stood still
FIRST_BLOCKS = 4  # after a stop: until they have come, late blocks and underruns are the stop's
WATCHED = (Field.LATE_BLOCKS, Field.UNDERRUNS)


class Stop(Struct, frozen=True):
    """A processor stood still, in seconds of the monotonic clock."""

    began: float
    ended: float


class Account(Struct, frozen=True):
    stops: tuple[Stop, ...]
    in_real_time: bool
    counts: tuple[tuple[float, int, int], ...]  # when, late blocks and underruns added since the line before

    def text(self, block_s: float) -> str:
        """One line: what the machine did, and what is left when that is taken off."""
        late, underruns = own(self.counts, self.stops, FIRST_BLOCKS * block_s)
        longest = max((stop.ended - stop.began for stop in self.stops), default=0.0)
        before = "before all other work" if self.in_real_time else "among other work"
        return (
            f"witnesses that only sleep, one a processor, {before}, were late {len(self.stops)} times by "
            f"over {1_000 * STOP_S:g} ms (at most {1_000 * longest:.1f} ms); outside of these and the "
            f"{FIRST_BLOCKS} blocks after: late {late}, underruns {underruns}"
        )


def own(counts: Sequence[tuple[float, int, int]], stops: Sequence[Stop], after_s: float) -> tuple[int, int]:
    """Late blocks and underruns that were counted neither while the machine stood still nor just after.

    Catching up takes `after_s` at least, and as long again as the stop.
    """
    left = [
        (late, underruns)
        for at, late, underruns in counts
        if not any(stop.began <= at <= stop.ended + max(after_s, stop.ended - stop.began) for stop in stops)
    ]
    return sum(late for late, _ in left), sum(underruns for _, underruns in left)


class Witness:
    """Watches while the `with` lasts."""

    def __init__(self) -> None:
        self.account = Account((), False, ())


@contextmanager
def witness(board: Board) -> Iterator[Witness]:
    """Let a witness watch these numbers; it has spoken when the block is left."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_watch, args=(theirs, board.numbers), daemon=True)
    process.start()
    ours.recv()  # it watches
    found = Witness()
    try:
        yield found
    finally:
        ours.send(None)
        found.account = ours.recv()
        process.join()


def _watch(connection: Connection, numbers: Any) -> None:
    in_real_time = False
    if hasattr(os, "sched_setscheduler"):
        with suppress(OSError):
            os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(80))
            in_real_time = True
    stops: list[Stop] = []
    counts: list[tuple[float, int, int]] = []
    before = [int(numbers[field]) for field in WATCHED]
    for processor in range(os.cpu_count() or 1):
        threading.Thread(target=_sleep_on, args=(processor, stops), daemon=True).start()
    connection.send(None)
    look = 0
    while True:
        now = _step(stops)
        counted = [int(numbers[field]) for field in WATCHED]
        if counted != before:
            late, underruns = (max(0, new - old) for new, old in zip(counted, before, strict=True))
            counts.append((now, late, underruns))
            before = counted
        look += 1
        if look % 50 == 0 and connection.poll():
            connection.send(Account(tuple(stops), in_real_time, tuple(counts)))
            return


def _sleep_on(processor: int, stops: list[Stop]) -> None:
    """Watch one processor, for ever; any, where the system lets nobody choose."""
    if hasattr(os, "sched_setaffinity"):
        with suppress(OSError):
            os.sched_setaffinity(0, {processor})
    while True:
        _step(stops)


def _step(stops: list[Stop]) -> float:
    """Sleep for a step, note when that took too long; returns the time."""
    due = time.perf_counter() + STEP_S
    time.sleep(STEP_S)
    now = time.perf_counter()
    if now - due > STOP_S:
        stops.append(Stop(due - STEP_S, now))
    return now
