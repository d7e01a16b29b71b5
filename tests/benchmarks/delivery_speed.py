"""How fast aligned files leave, as times real time, beside sox and ffmpeg copying the same files.

Every lane is moved by whole samples, by a fraction, or with drift taken out; each file is measured (loudness,
true peak), read back and held against its recording, which the copies of sox and ffmpeg are not. Where other
programs run too, go by the processor's seconds: two processors do two in one.

    .venv/bin/python tests/benchmarks/delivery_speed.py [--lanes 15] [--seconds 60] [--rate 48000]
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from msgspec.structs import replace

from lagline.blend.clips import open_clips
from lagline.deliver.options import DeliveryOptions
from lagline.deliver.stems import write_stems
from lagline.jobs.open_take import open_take
from lagline.media.write import write_audio
from lagline.session.values import Move, Session, Version

DRIFT_BEFORE_S = 89.0  # 15 lanes of a minute with drift, before this was measured
Took = tuple[float, float]  # seconds by the clock, seconds of processors
MOVES: dict[str, Callable[[int], Move]] = {
    "whole samples, copied": lambda number: Move(float(7 * number)),
    "a fraction": lambda number: Move(7 * number + 0.37),
    "drift of 3 ppm": lambda number: Move(7 * number + 0.37, rate_ppm=3.0),
    "drift of 40 ppm": lambda number: Move(7 * number + 0.37, rate_ppm=40.0),
}


def record(folder: Path, lanes: int, seconds: int, rate_hz: int) -> Session:
    rng = np.random.default_rng(1)
    folder.mkdir()
    for number in range(lanes):
        samples = (0.05 * rng.standard_normal(seconds * rate_hz)).astype(np.float32)
        write_audio(folder / f"Lane {number + 1}.wav", [samples], rate_hz, 1, frames=len(samples))
    return open_take([folder]).session


def now() -> Took:
    times = os.times()
    return time.perf_counter(), times.user + times.system + times.children_user + times.children_system


def since(start: Took) -> Took:
    clock_s, processor_s = now()
    return clock_s - start[0], processor_s - start[1]


def delivered_s(session: Session, moved: Callable[[int], Move], out: Path, options: DeliveryOptions) -> Took:
    moves = {lane.id: moved(number) for number, lane in enumerate(session.lanes)}
    version = Version("v1", "Shifted", moves)
    start = now()
    write_stems(replace(session, versions=(version,)), version, open_clips(session), out, options)
    return since(start)


def copied_s(session: Session, out: Path, command: Callable[[Path, Path], list[str]]) -> Took:
    out.mkdir()
    start = now()
    for lane in session.lanes:
        source = lane.source.path
        subprocess.run(command(source, out / source.name), check=True, capture_output=True)
    return since(start)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lanes", type=int, default=15)
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--rate", type=int, default=48_000)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        session = record(folder / "in", asked.lanes, asked.seconds, asked.rate)
        print(f"{asked.lanes} lanes of {asked.seconds} s, 24 bits, {asked.rate} Hz")

        def tell(what: str, took: Took) -> None:
            clock_s, processor_s = took
            speed = asked.seconds / clock_s
            print(f"  {what:36}{clock_s:7.1f} s {speed:7.1f} x real time {processor_s:7.1f} s of processors")

        for name, moved in MOVES.items():
            tell(f"delivered, {name}", delivered_s(session, moved, folder / name, DeliveryOptions()))
        one = DeliveryOptions(layout="take")
        tell("the same in one file", delivered_s(session, moved, folder / "one", one))
        programs = {
            "sox": lambda source, target: ["sox", str(source), str(target)],
            "ffmpeg": lambda source, target: ["ffmpeg", "-i", str(source), "-c:a", "pcm_s24le", str(target)],
        }
        for program, command in programs.items():
            if shutil.which(program):
                tell(f"copied by {program}", copied_s(session, folder / program, command))
        if (asked.lanes, asked.seconds) == (15, 60):
            bar_s = DRIFT_BEFORE_S / 3.0
            print(f"  bar: lanes with drift in {bar_s:.1f} s, a third of {DRIFT_BEFORE_S:.0f} s")


if __name__ == "__main__":
    main()
