"""Feeds damaged input to everything that reads what others wrote, and prints a Markdown table.

    python tests/robustness/fuzz_readers.py [--inputs 100000] [--seed 1] [--only "session files"] [--guided]

Every input is a real small file (or command line) with a few changes; the same seed gives the same inputs.
`--guided` lets atheris choose the changes by the branches they reach, where it is installed (it is no
requirement of ours: `pip install atheris`); one process a target, because it never returns.
Exit code 1, and the inputs kept in --keep, when anything but an error of ours came out.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import pkgutil
import random
import resource
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ["QT_QPA_PLATFORM"] = "offscreen"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--inputs", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", action="append")
    parser.add_argument("--guided", action="store_true")
    parser.add_argument("--keep", type=Path, default=Path("fuzz-findings"), help="where bad inputs are put")
    parser.add_argument("--figures", type=Path, help=argparse.SUPPRESS)  # of one guided target
    asked = parser.parse_args()
    if asked.figures:
        _guided(asked.only[0], asked)
        return 0
    names = asked.only or list(importlib.import_module("tests.robustness.targets").TARGETS)
    print("| reader | inputs | read or answered | refused with our errors | others | slowest ms | MB grown |")
    print("|---|---|---|---|---|---|---|", flush=True)
    bad = 0
    for name in names:
        figures = _guided_elsewhere(name, asked) if asked.guided else _mutated(name, asked)
        bad += figures["bad"]
        outcomes = figures["outcomes"]
        said = ", ".join(f"{word} {count}" for word, count in sorted(outcomes.items()) if word not in _FINE)
        fine = ", ".join(f"{word} {count}" for word, count in sorted(outcomes.items()) if word in _FINE)
        print(
            f"| {name} | {sum(outcomes.values()) + figures['bad']} | {fine} | {said} | {figures['bad']} "
            f"| {figures['slowest_ms']:.0f} | {figures['grown_mb']:.0f} |",
            flush=True,
        )
    return 1 if bad else 0


_FINE = ("read", "none", "exit 0", "exit 1", "exit 2", "left out")


class _Counting:
    """Runs inputs and keeps the figures."""

    def __init__(self, name: str, keep: Path) -> None:
        from tests.robustness.targets import TARGETS

        self.target, self.keep = TARGETS[name], keep
        self.outcomes: Counter[str] = Counter()
        self.bad = 0
        self.kinds: set[str] = set()
        self.slowest_ms = 0.0
        for seed in self.target.seeds():
            self.target.run(seed)
        self.first_mb = _peak_mb()

    def run(self, data: bytes) -> None:
        began = time.perf_counter()
        try:
            self.outcomes[self.target.run(data)] += 1
        except Exception as error:  # noqa: BLE001 - what is looked for
            self.bad += 1
            frame = traceback.extract_tb(error.__traceback__)[-1]
            kind = f"{type(error).__name__} {Path(frame.filename).name}:{frame.lineno}"
            if kind not in self.kinds:
                self.kinds.add(kind)
                self.keep.mkdir(parents=True, exist_ok=True)
                file = self.keep / f"{self.target.name.replace(' ', '-')}-{len(self.kinds)}"
                file.write_bytes(data)
                print(
                    f"{self.target.name}: {kind}: {error}  (input kept as {file})",
                    file=sys.stderr,
                    flush=True,
                )
        self.slowest_ms = max(self.slowest_ms, 1000 * (time.perf_counter() - began))

    def figures(self) -> dict:
        return {
            "outcomes": dict(self.outcomes),
            "bad": self.bad,
            "slowest_ms": self.slowest_ms,
            "grown_mb": _peak_mb() - self.first_mb,
        }


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _mutated(name: str, asked: argparse.Namespace) -> dict:
    warnings.simplefilter("error")
    counting = _Counting(name, asked.keep)
    target, rng = counting.target, random.Random(f"{asked.seed} {name}")
    seeds = target.seeds()
    for _ in range(asked.inputs):
        counting.run(target.damage(rng.choice(seeds), rng, seeds))
    return counting.figures()


def _guided_elsewhere(name: str, asked: argparse.Namespace) -> dict:
    file = Path(f"{asked.keep}-figures-{os.getpid()}.json")
    words = [
        sys.executable,
        __file__,
        "--only",
        name,
        "--inputs",
        str(asked.inputs),
        "--seed",
        str(asked.seed),
    ]
    done = subprocess.run(
        [*words, "--keep", str(asked.keep), "--figures", str(file)],
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    if not file.exists():
        raise SystemExit(f"{name}: atheris ended without figures\n{done.stderr[-2000:]}")
    sys.stderr.writelines(line + "\n" for line in done.stderr.splitlines() if line.startswith(name))
    figures = json.loads(file.read_text())
    file.unlink()
    if done.returncode:  # too slow, too large or ended from below: the input is in the folder it ran in
        print(f"{name}: {done.stderr[-2000:]}", file=sys.stderr)
        figures["bad"] += 1
    return figures


def _guided(name: str, asked: argparse.Namespace) -> None:
    try:
        import atheris
    except ImportError:
        raise SystemExit("--guided needs atheris: pip install atheris") from None
    with atheris.instrument_imports(include=["lagline"]):
        import tests.robustness.targets  # noqa: F401

        _import_all_but_the_desk()
    warnings.simplefilter("error")
    counting = _Counting(name, asked.keep)
    target, rng = counting.target, random.Random(asked.seed)
    seeds = target.seeds()
    corpus = Path(tempfile.mkdtemp(prefix="lagline-corpus-"))
    for number, seed in enumerate(seeds):
        (corpus / str(number)).write_bytes(seed)
    count = 0

    def one(data: bytes) -> None:
        nonlocal count
        counting.run(data)
        count += 1
        if count % 1000 == 0 or count >= asked.inputs:
            asked.figures.write_text(json.dumps(counting.figures()))

    def mutate(data: bytes, largest: int, seed: int) -> bytes:
        if seed % 2:
            return atheris.Mutate(data, largest)
        return target.damage(bytes(data), rng, seeds)[:largest]

    words = [
        "fuzz",
        *_dictionary(target.words),
        f"-atheris_runs={asked.inputs}",
        "-max_len=65536",
        f"-seed={asked.seed}",
        "-print_final_stats=1",
    ]
    atheris.Setup([*words, "-timeout=30", "-rss_limit_mb=4096", str(corpus)], one, custom_mutator=mutate)
    atheris.Fuzz()


def _import_all_but_the_desk() -> None:
    """Commands import what they need when they are run: too late for their branches to be seen."""
    import lagline

    for module in pkgutil.walk_packages(lagline.__path__, "lagline."):
        if not module.name.startswith(("lagline.desk", "lagline.__main__")):
            importlib.import_module(module.name)


def _dictionary(words: Sequence[str]) -> list[str]:
    """Words in libFuzzer's format of dictionaries, each with the NUL that ends it."""
    if not words:
        return []
    lines = ("".join(f"\\x{byte:02x}" for byte in f"{word}\0".encode()) for word in words)
    file = Path(tempfile.mkdtemp(prefix="lagline-words-")) / "words"
    file.write_text("".join(f'"{line}"\n' for line in lines))
    return [f"-dict={file}"]


if __name__ == "__main__":
    sys.exit(main())
