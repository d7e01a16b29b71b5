"""Takes and clocks shared by the playback benchmarks. Not a benchmark itself.

Run any of them as `python tests/benchmarks/playback_NAME.py --help`, from the repository's root. They print
what they measure and how busy the machine was meanwhile; they assert nothing. On a machine with other work
to do, `chrt -f 5 python ...` (as root) keeps that work out of the figures.
"""

from __future__ import annotations

import argparse
import math
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import numpy as np
import soundfile

from lagline.playback.player import Player
from lagline.session.values import Balance, Lane, Move, Session, Source, Version

sys.path.insert(0, str(Path(__file__).parents[2]))  # for tests.support
CHUNK = 1 << 20


def parser(description: str) -> argparse.ArgumentParser:
    made = argparse.ArgumentParser(
        description=description, formatter_class=argparse.ArgumentDefaultsHelpFormatter
    )
    made.add_argument(
        "--folder",
        type=Path,
        default=Path(tempfile.gettempdir()) / "lagline-benchmarks",
        help="where the recordings are made, and found again next time",
    )
    return made


def load() -> str:
    """How busy the machine is: runnable processes over the last minute, and processors."""
    with suppress(OSError):
        return f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors"
    return f"{os.cpu_count()} processors"


def recording(path: Path, seconds: float, rate_hz: int, subtype: str = "PCM_24") -> Path:
    """A file of noise that swells, the same at every run; kept."""
    if path.exists():
        return path
    path.parent.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(7)
    block = rng.standard_normal(CHUNK) * 0.1 * (1 + 0.5 * np.sin(np.arange(CHUNK) * 1e-4))
    part = path.with_name(f"part-{path.name}")
    with soundfile.SoundFile(part, "w", rate_hz, 1, subtype) as file:
        left = round(seconds * rate_hz)
        while left > 0:
            file.write(np.roll(block, int(rng.integers(CHUNK)))[:left])
            left -= CHUNK
    return part.replace(path)


def take(folder: Path, lanes: int, seconds: float, rate_hz: int = 48_000, suffix: str = ".wav") -> Session:
    """A session of `lanes` recordings with a version that shifts each by a fraction.

    The files are links to one, each opened and decoded by itself: what differs from a real take is only that
    the operating system keeps one copy in memory.
    """
    first = recording(folder / f"noise-{seconds:g}s-{rate_hz}{suffix}", seconds, rate_hz)
    made = []
    for n in range(lanes):
        path = first.with_name(f"{first.stem}-{n}{suffix}")
        if not path.exists():
            os.link(first, path)
        frames = round(seconds * rate_hz)
        source = Source(path, 0, rate_hz, frames, path.stat().st_size)
        made.append(Lane(f"l{n}", f"Lane {n + 1}", source))
    moves = {lane.id: Move(-3.37 * n - 0.5) for n, lane in enumerate(made)}
    balances = {lane.id: Balance(-20 * math.log10(lanes)) for lane in made}  # equal lanes add up
    return Session(rate_hz, tuple(made), versions=(Version("v1", "Shifted", moves, balances),))


def until(condition: Callable[[], bool], seconds: float = 60.0, step_s: float = 0.0005) -> float:
    """Wait for something; returns the seconds it took."""
    began = time.perf_counter()
    while not condition():
        if time.perf_counter() - began > seconds:
            raise TimeoutError("waited in vain")
        time.sleep(step_s)
    return time.perf_counter() - began


@contextmanager
def timed_device(kind: str, rate_hz: int, block_frames: int) -> Iterator[str | None]:
    """A device that keeps time without hardware; gives the name to choose.

    "clock": our silent clock. "jack": PortAudio into jackd with its dummy driver, the real sounddevice path.
    """
    if kind == "clock":
        from lagline.playback.protocol import SILENT_CLOCK

        yield SILENT_CLOCK
        return
    if not shutil.which("jackd"):
        raise SystemExit("jackd is not installed (Debian: jackd2); use --device clock")
    # A sound server runs in real time at work; without the right to, its own lateness is measured too.
    schedule = ["-R", "-P", "10"] if hasattr(os, "geteuid") and os.geteuid() == 0 else ["-r"]
    command = ["jackd", *schedule, "--no-mlock", "-d", "dummy", "-r", str(rate_hz), "-p", str(block_frames)]
    environment = {**os.environ, "JACK_NO_AUDIO_RESERVATION": "1"}
    with subprocess.Popen(
        command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as server:
        try:
            time.sleep(1.5)
            yield "system (JACK Audio Connection Kit)"
        finally:
            server.terminate()


def timing(player: Player) -> str:
    """One line of what the callback's clock says."""
    from lagline.playback.board import Field

    board = player.board
    return (
        f"p50 {100 * board.duration_percentile(50):5.1f} %  "
        f"p99 {100 * board.duration_percentile(99):5.1f} %  "
        f"worst {100 * board[Field.WORST_DURATION]:6.1f} %  "
        f"late {board[Field.LATE_BLOCKS]:.0f} of {board[Field.BLOCKS]:.0f} "
        f"(worst by {board[Field.WORST_LATENESS]:.2f} blocks)  "
        f"underruns {board[Field.UNDERRUNS]:.0f}  starved {board[Field.STARVED]:.0f}"
    )
