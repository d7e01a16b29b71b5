"""Breaks one line after the other and sees whether the tests notice: mutation testing, small and our own.

    python tests/robustness/mutate.py [--only units] [--limit 200]

A mutant swaps a comparison, a sign, a number, a word (`and`/`or`, True/False, min/max, floor/ceil), or takes
a `not` away, in a copy of the package. The tests named beside each file are run on it; a mutant that passes
them all survives and is printed for a person to judge. Prints a Markdown table.
"""

from __future__ import annotations

import argparse
import ast
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
# What must not be wrong by a sign or a sample, and the tests that promise it.
GUARDED = {
    "units": ("units.py", "tests/unit/test_units.py"),
    "session edits": ("session/edits.py", "tests/unit/session"),
    "session checks": (
        "session/checks.py",
        "tests/unit/session/test_checks.py",
        "tests/unit/session/test_storage.py",
    ),
    "sessions' values": (
        "session/values.py",
        "tests/unit/session",
        "tests/unit/blend/test_mix.py",
    ),
    "signs of findings": ("session/findings.py", "tests/unit/session"),
    "signs of shifts": (
        "blend/fraction.py",
        "tests/unit/blend/test_mix.py",
        "tests/unit/deliver/test_stems.py",
        "tests/outside/test_fractional_delay_theory.py",
    ),
    "level match": (
        "blend/loudness.py",
        "tests/unit/blend/test_loudness.py",
        "tests/outside/test_loudness_standards.py",
    ),
    "work spread over threads": ("spread.py", "tests/unit/test_spread.py"),
    "delay sheet": ("deliver/sheet.py", "tests/unit/deliver/test_sheet.py"),
    "headroom of blends": ("deliver/headroom.py", "tests/unit/deliver/test_headroom.py"),
    "hearing guard": ("playback/guard.py", "tests/unit/playback/test_guard.py"),
    "blind trials": (
        "playback/trial.py",
        "tests/unit/playback/test_trial.py",
        "tests/outside/test_loudness_trials_and_exposure.py",
    ),
}
_COMPARE = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
_BINARY = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult}
_CALLS = {"min": "max", "max": "min", "floor": "ceil", "ceil": "floor", "any": "all", "all": "any"}


def mutants(source: str) -> Iterator[tuple[int, str, str]]:
    """Line, what was done, and the whole broken source, one small change each."""
    count = sum(1 for _ in _changes(ast.parse(source)))
    for number in range(count):
        tree = ast.parse(source)
        for at, (line, said, do) in enumerate(_changes(tree)):
            if at == number:
                do()
                yield line, said, ast.unparse(tree)
                break


def _changes(tree: ast.AST) -> Iterator[tuple[int, str, object]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare) and type(node.ops[0]) in _COMPARE:
            new = _COMPARE[type(node.ops[0])]
            yield node.lineno, f"{type(node.ops[0]).__name__} to {new.__name__}", _setter(node.ops, 0, new())
        elif isinstance(node, ast.BinOp) and type(node.op) in _BINARY and not _is_annotation(node):
            op = _BINARY[type(node.op)]
            yield node.lineno, f"{type(node.op).__name__} to {op.__name__}", _setter(node, "op", op())
        elif isinstance(node, ast.BoolOp):
            other = ast.And() if isinstance(node.op, ast.Or) else ast.Or()
            yield node.lineno, f"to {type(other).__name__}", _setter(node, "op", other)
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, (ast.USub, ast.Not)):
            new_op = ast.UAdd() if isinstance(node.op, ast.USub) else None
            if new_op:
                yield node.lineno, "minus taken away", _setter(node, "op", new_op)
            else:
                yield node.lineno, "not taken away", _negated(node)
        elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
            yield node.lineno, f"{node.value} to {not node.value}", _setter(node, "value", not node.value)
        elif isinstance(node, ast.Constant) and isinstance(node.value, (int, float)):
            yield node.lineno, f"{node.value} to {node.value + 1}", _setter(node, "value", node.value + 1)
        elif isinstance(node, ast.Call):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if name in _CALLS:
                where = "attr" if isinstance(node.func, ast.Attribute) else "id"
                yield node.lineno, f"{name} to {_CALLS[name]}", _setter(node.func, where, _CALLS[name])


def _is_annotation(node: ast.BinOp) -> bool:
    return isinstance(node.op, ast.BitOr)


def _setter(holder: object, key: object, value: object) -> object:
    def do() -> None:
        if isinstance(holder, list):
            holder[key] = value  # type: ignore[call-overload]
        else:
            setattr(holder, str(key), value)

    return do


def _negated(node: ast.UnaryOp) -> object:
    def do() -> None:
        node.op = ast.Not()
        node.operand = ast.UnaryOp(ast.Not(), node.operand)

    return do


def survives(package: Path, file: str, broken: str, tests: tuple[str, ...]) -> bool:
    """Whether the tests pass on the package with that file broken."""
    target = package / "lagline" / file
    whole = target.read_text()
    target.write_text(broken)
    try:
        words = [sys.executable, "-m", "pytest", "-x", "-q", "-c", os.devnull, "--rootdir", str(ROOT)]
        words += ["--import-mode=importlib", "-p", "no:cacheprovider", "-o", f"pythonpath={package} {ROOT}"]
        # Without the plugins a run takes a third of the time; a mutant may loop for ever.
        own = {"PYTHONPATH": f"{package}{os.pathsep}{ROOT}", "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
        done = subprocess.run(
            [*words, *tests],
            cwd=ROOT,
            env={**os.environ, **own},
            capture_output=True,
            check=False,
            timeout=120,
        )
        return done.returncode == 0
    except subprocess.TimeoutExpired:
        return False
    finally:
        target.write_text(whole)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--only", action="append")
    parser.add_argument("--limit", type=int, default=10_000, help="mutants a file, evenly spread")
    asked = parser.parse_args()
    print("| what | mutants | noticed | survivors |\n|---|---|---|---|", flush=True)
    with tempfile.TemporaryDirectory(prefix="lagline-mutants-") as name:
        package = Path(name)
        shutil.copytree(ROOT / "app" / "lagline", package / "lagline")
        for what in asked.only or GUARDED:
            file, *tests = GUARDED[what]
            source = (package / "lagline" / file).read_text()
            if not survives(package, file, source, tuple(tests)):
                raise SystemExit(f"{what}: its tests fail on the whole package")
            found = list(mutants(source))
            chosen = found[:: max(1, -(-len(found) // asked.limit))]
            left = [
                (line, said) for line, said, text in chosen if survives(package, file, text, tuple(tests))
            ]
            print(f"| {what} | {len(chosen)} | {len(chosen) - len(left)} | {len(left)} |", flush=True)
            for line, said in left:
                text = source.splitlines()[line - 1].strip()
                print(f"{file}:{line}: {said}: {text}", file=sys.stderr, flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
