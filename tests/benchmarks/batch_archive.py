"""A batch over an archive of generated takes, some of them broken: speed, sameness, and surviving a kill.

    python tests/benchmarks/batch_archive.py [--takes 200] [--broken 10]

Prints a Markdown table: takes a second with one and with two workers, whether both found the same, how
many arrivals are right, and whether a batch that was killed and asked again ends with the same summary.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import msgspec
import numpy as np
import soundfile

RATE_HZ = 48_000
SECONDS = 6
LANES = ("close", "side", "room")


def make_take(folder: Path, seed: int) -> dict[str, float]:
    """Three lanes of strokes in noise, delayed by known samples; returns the arrivals against the latest."""
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True)
    frames = SECONDS * RATE_HZ
    source = np.zeros(frames)
    for at in rng.integers(RATE_HZ // 10, frames - RATE_HZ, 12):
        decay = np.exp(-np.arange(RATE_HZ // 2) / rng.uniform(800, 4000))
        source[at : at + len(decay)] += decay * rng.standard_normal(len(decay))
    source /= 4 * np.abs(source).max()
    delays = {"close": 0, "side": int(rng.integers(20, 300)), "room": int(rng.integers(400, 1500))}
    for name, delay in delays.items():
        lane = np.concatenate([np.zeros(delay), source[: frames - delay]])
        lane += 1e-4 * rng.standard_normal(frames)
        soundfile.write(folder / f"{name}.wav", lane, RATE_HZ, subtype="PCM_16")
    return {name: float(delay - delays["room"]) for name, delay in delays.items()}


def break_take(folder: Path, seed: int) -> None:
    """Make a take unusable in one of the ways files arrive broken."""
    kind = seed % 3
    for number, file in enumerate(sorted(folder.glob("*.wav"))):
        if kind == 0:
            file.write_bytes(b"")
        elif kind == 1:
            file.write_bytes(b"this is not audio")
        elif number:  # one lane left
            file.unlink()
            (folder / f"{file.stem} (empty).wav").write_bytes(b"RIFF")


def run(root: Path, out: Path, workers: int) -> float:
    started = time.perf_counter()
    subprocess.run(command(root, out, workers), check=True, capture_output=True)
    return time.perf_counter() - started


def command(root: Path, out: Path, workers: int) -> list[str]:
    return [
        sys.executable, "-m", "lagline", "batch", str(root), "--out", str(out), "--workers", str(workers),
    ]  # fmt: skip


def killed_and_resumed(root: Path, out: Path, after_s: float) -> int:
    """Kill the batch, workers and all, after a while; ask again. Returns the takes done before the kill."""
    process = subprocess.Popen(
        command(root, out, 2), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
    )
    time.sleep(after_s)
    if process.poll() is None:
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    journal = out / "journal.jsonl"
    done = journal.read_bytes().count(b"\n") - 1 if journal.exists() else 0
    run(root, out, 2)
    return done


def right(summary: Path, truth: dict[str, dict[str, float]]) -> tuple[int, int, int]:
    """Arrivals within a sample of the truth, all of them, and takes that failed."""
    document = msgspec.json.decode(summary.read_bytes())
    good = total = failed = 0
    for result in document["results"]:
        failed += result["state"] == "failed"
        for lane in result["lanes"]:
            arrival = lane["arrival_samples"]
            total += 1
            good += arrival is not None and abs(arrival - truth[result["take"]][lane["name"]]) <= 1.0
    return good, total, failed


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--takes", type=int, default=200)
    parser.add_argument("--broken", type=int, default=10)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch) / "archive"
        truth = {f"song {n:03}": make_take(root / f"song {n:03}", n) for n in range(asked.takes)}
        for n in random.Random(1).sample(range(asked.takes), asked.broken):
            break_take(root / f"song {n:03}", n)
        out = {name: Path(scratch) / name for name in ("one", "two", "killed")}
        one_s, two_s = run(root, out["one"], 1), run(root, out["two"], 2)
        before_kill = killed_and_resumed(root, out["killed"], random.uniform(0.2, 0.8) * two_s)
        summaries = {name: (folder / "summary.json").read_bytes() for name, folder in out.items()}
        good, total, failed = right(out["one"] / "summary.json", truth)
    same = summaries["one"] == summaries["two"]
    resumed = summaries["killed"] == summaries["one"]
    print("| what | figure |\n|---|---|")
    print(f"| takes, of them broken | {asked.takes}, {asked.broken} |")
    print(f"| takes a second, 1 worker | {asked.takes / one_s:.2f} |")
    print(f"| takes a second, 2 workers | {asked.takes / two_s:.2f} |")
    print(f"| takes a second a worker, 2 workers | {asked.takes / two_s / 2:.2f} |")
    print(f"| takes that failed | {failed} |")
    print(f"| arrivals within a sample | {good} of {total} |")
    print(f"| 1 and 2 workers end the same | {same} |")
    print(f"| takes done before the kill; resumed to the same | {before_kill}; {resumed} |")


if __name__ == "__main__":
    main()
