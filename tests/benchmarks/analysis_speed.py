"""Speed and memory of the measurement beside whole-file correlation, on takes as long as a song or a set.

Run from the repository: python -m tests.benchmarks.analysis_speed [--minutes 10] [--lanes 8] [--no-peer]

The take (24-bit WAV, in a temporary folder) is music-like noise and strokes, each lane later by its own
delay. The peer is scipy.signal.correlate over whole files, argmax of the magnitude, one pair a lane, as one
would write it in a notebook. Both run in processes of their own, so that peak memory is theirs alone.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

RATE = 48_000


def write_take(folder: Path, lanes: int, minutes: float) -> None:
    """Lanes of one performance, written in blocks of a minute."""
    rng = np.random.default_rng(3)
    delays = [0, *(int(d) for d in rng.integers(20, 900, lanes - 1))]
    files = [
        soundfile.SoundFile(folder / f"lane{k}.wav", "w", RATE, 1, subtype="PCM_24") for k in range(lanes)
    ]
    past = np.zeros(1000)
    done, total = 0, round(minutes * 60 * RATE)
    while done < total:
        count = min(60 * RATE, total - done)
        block = 0.02 * rng.standard_normal(count)
        for at in np.cumsum(rng.uniform(0.2, 0.8, 200)):
            start = round(at * RATE)
            if start + RATE // 4 < count:
                fade = np.exp(-np.arange(RATE // 4) / (0.05 * RATE))
                block[start : start + RATE // 4] += 0.3 * fade * rng.standard_normal(RATE // 4)
        heard = np.concatenate((past, block))
        for file, delay in zip(files, delays, strict=True):
            start = len(past) - delay
            noise = 0.002 * rng.standard_normal(count)
            file.write(np.clip(0.5 * heard[start : start + count] + noise, -1, 1))
        past = heard[-len(past) :]
        done += count
    for file in files:
        file.close()


def run_ours(folder: Path) -> None:
    from lagline.analysis import align as stages
    from lagline.analysis import joint
    from lagline.analysis.options import AnalysisOptions
    from lagline.blend.clips import open_clips
    from lagline.jobs.open_take import open_take

    parts = {"reading": 0.0, "joint solution": 0.0}

    def timed(name: str, function: Callable[..., Any]) -> Callable[..., Any]:
        def run(*given: Any, **named: Any) -> Any:
            began = time.perf_counter()
            answer = function(*given, **named)
            parts[name] += time.perf_counter() - began
            return answer

        return run

    stages.scan = timed("reading", stages.scan)
    joint.solve = timed("joint solution", joint.solve)
    asked = [time.perf_counter()]
    said = [time.perf_counter()]

    def cancelled() -> bool:
        asked.append(time.perf_counter())
        return False

    began = time.perf_counter()
    session = open_take(sorted(folder.glob("*.wav"))).session
    answer = stages.align(
        session,
        open_clips(session),
        AnalysisOptions(anchor=session.lanes[0].id),
        progress=lambda _: said.append(time.perf_counter()),
        cancelled=cancelled,
    )
    ended = time.perf_counter()
    found = [f.arrival_samples for f in answer.findings]
    for name, times in (("asked whether to stop", asked), ("progress", said)):
        parts[f"longest wait between two: {name}"] = max(np.diff([*times, ended]), default=0.0)
    _say(ended - began, found, parts)


def run_peer(folder: Path) -> None:
    import scipy.signal

    began = time.perf_counter()
    paths = sorted(folder.glob("*.wav"))
    first, _ = soundfile.read(paths[0], dtype="float32")
    found: list[float] = [0.0]
    for path in paths[1:]:
        other, _ = soundfile.read(path, dtype="float32")
        curve = scipy.signal.correlate(other, first, mode="full", method="fft")
        found.append(float(np.argmax(np.abs(curve)) - (len(first) - 1)))
    _say(time.perf_counter() - began, found, {})


def _say(spent: float, found: list[float | None], parts: dict[str, float]) -> None:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    rounded = {name: round(value, 3) for name, value in parts.items()}
    print(json.dumps({"seconds": round(spent, 2), "peak_mb": round(peak), "found": found, "parts": rounded}))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--lanes", type=int, default=8)
    parser.add_argument("--no-peer", action="store_true")
    parser.add_argument("--run", choices=("ours", "peer"))
    parser.add_argument("--folder", type=Path)
    options = parser.parse_args()
    if options.run:
        (run_ours if options.run == "ours" else run_peer)(options.folder)
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_take(folder, options.lanes, options.minutes)
        results = {}
        for which in ("ours",) if options.no_peer else ("ours", "peer"):
            command = [sys.executable, "-m", "tests.benchmarks.analysis_speed", "--run", which]
            done = subprocess.run(
                [*command, "--folder", str(folder)], check=True, capture_output=True, text=True
            )
            results[which] = json.loads(done.stdout)
            print(f"{which:5} {results[which]['seconds']:8.2f} s  peak {results[which]['peak_mb']} MB")
            print(f"      {results[which]['found']}")
            for name, value in results[which]["parts"].items():
                print(f"      {name} {value} s")
        if len(results) == 2:
            print(f"ratio {results['ours']['seconds'] / results['peer']['seconds']:.3f} (bar 0.1)")


if __name__ == "__main__":
    main()
