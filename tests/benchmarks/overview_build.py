"""How long overviews take: 8 lanes of 10 minutes, 24-bit WAV, built with two threads and from the cache.

Usage: python tests/benchmarks/overview_build.py [--minutes 10] [--lanes 8] [--format FLAC] [--keep FOLDER]

Prints the time until the first columns can be drawn, the whole overview, the same from the cache, and
what `columns` costs for an hour at 1920 columns. The operating system's file cache is warm, as it is
right after a recording was copied; the figures are the processor's.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile

from lagline.media.overview import Overview, build_all
from lagline.media.pyramid import BIN_SAMPLES

RATE_HZ = 48_000
GOALS_S = {"first drawing": 0.3, "whole overview": 1.5, "from the cache": 0.4}


def make_lanes(folder: Path, lanes: int, minutes: float, file_format: str) -> list[Path]:
    rng = np.random.default_rng(7)
    second = rng.standard_normal((30 * RATE_HZ, 1)).astype(np.float32) * 0.1
    fade = np.exp(-(np.arange(30 * RATE_HZ) % RATE_HZ) / (0.2 * RATE_HZ))[:, None].astype(np.float32)
    paths = []
    for lane in range(lanes):
        path = folder / f"lane {lane + 1}.{file_format.lower()}"
        paths.append(path)
        if path.exists():
            continue
        with soundfile.SoundFile(path, "w", RATE_HZ, 1, "PCM_24", format=file_format) as out:
            for _ in range(round(minutes * 2)):
                out.write(np.roll(second * fade, 137 * lane, axis=0))
    return paths


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--lanes", type=int, default=8)
    parser.add_argument("--format", default="WAV")
    parser.add_argument("--keep", type=Path, help="make the lanes here and leave them for the next run")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = options.keep or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        os.environ["LAGLINE_CACHE_DIR"] = str(Path(scratch) / "cache")
        paths = make_lanes(folder, options.lanes, options.minutes, options.format)
        for path in paths:
            path.read_bytes()
        first: list[float] = []
        start = time.perf_counter()

        def drawn(_path: Path, fraction: float, overviews: tuple[Overview, ...]) -> None:
            if not first and overviews[0].ready_frames > 0:
                overviews[0].columns(0, overviews[0].frames, 1920)
                first.append(time.perf_counter() - start)

        worked = time.process_time()
        built = build_all(paths, progress=drawn)
        whole = time.perf_counter() - start
        worked = time.process_time() - worked
        start = time.perf_counter()
        build_all(paths)
        cached = time.perf_counter() - start
        took = {"first drawing": first[0], "whole overview": whole, "from the cache": cached}
        print(f"{options.lanes} lanes of {options.minutes:g} min, {options.format}, {os.cpu_count()} cores")
        for name, seconds in took.items():
            print(f"  {name:15s} {seconds:6.3f} s   (goal {GOALS_S[name]} s)")
        print(f"  processor time of the whole overview {worked:.3f} s; a busy machine shows between the two")
        print(f"  files read: {sum(1 for result in built.values() if not isinstance(result, Exception))}")
    time_columns()


def time_columns() -> None:
    hour = Overview(3600 * RATE_HZ, BIN_SAMPLES)
    rng = np.random.default_rng(1)
    bins = len(hour.bins[0])
    noise = rng.random(bins, np.float32)
    hour.fill(-noise, noise)
    print("columns, 1920 of them, one lane of an hour:")
    for name, stop in [("an hour", 3600), ("10 min", 600), ("1 min", 60), ("10 s", 10), ("2.6 s", 2.56)]:
        times = []
        for turn in range(200):
            start = time.perf_counter()
            hour.columns(turn * 13.7, stop * RATE_HZ, 1920)
            times.append(time.perf_counter() - start)
        middle, high = 1e3 * np.quantile(times, [0.5, 0.95])
        print(f"  {name:8s} median {middle:.3f} ms, 95 % {high:.3f} ms")


if __name__ == "__main__":
    main()
