"""The house's rules hold, and break when they are broken: contracts by planted imports, sizes by counting."""

from __future__ import annotations

import ast
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.packaging import style_figures

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "app" / "lagline"
# A break of each import contract of pyproject.toml: a line, and the file it is added to.
PLANTED = {
    "Floors: each imports only from floors below; siblings stay apart": (
        "session/edits.py",
        "lagline.jobs.demo",
    ),
    "No circles between the folders of one floor or inside a folder": (
        "session/findings.py",
        "lagline.session.values",
    ),
    "Only the desk knows Qt": ("blend/mix.py", "PySide6.QtCore"),
    "Only playback.device knows sounddevice": ("playback/mixer.py", "sounddevice"),
}
LINT = "from importlinter.cli import lint_imports_command as run; run()"
LONGEST_LINES = 60
# Longer than that when the rule came; none may grow, none may be added, and what is mended leaves the list.
LONG = {
    "analysis/align.py: measure_take": 76,
    "analysis/borrowed.py: borrowed_match": 65,
    "analysis/match.py: match": 108,
    "analysis/measure.py: measure_pairs": 98,
    "analysis/measure.py: measure_pairs.one": 76,
    "jobs/open_take.py: open_take": 63,
}


# Public things of the desk that say nothing of themselves, mostly methods named after what they do.
# May only fall.
DESK_WITHOUT_WORDS = 218
# Tests that go by a real clock because what they watch runs in real time, and how often each asks it.
# None may be added: wait with `until` of tests/support, or hand the code a clock of your own.
CLOCK_WORDS = frozenset({"sleep", "monotonic", "perf_counter", "time"})
CLOCKS = {
    "desk/reading/test_sums.py": 1,
    "desk/test_under_way.py": 1,
    "robustness/test_ended_from_outside.py": 4,
    "unit/deliver/test_scratch.py": 4,
    "unit/playback/test_engine.py": 3,
    "unit/playback/test_helper.py": 1,
    "unit/playback/test_player.py": 2,
}


def functions(body: list[ast.stmt], before: str = "") -> Iterator[tuple[str, int]]:
    for node in body:
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
            name = f"{before}{node.name}"
            if not isinstance(node, ast.ClassDef):
                yield name, (node.end_lineno or 0) - node.lineno + 1
            yield from functions(node.body, f"{name}.")


def test_no_function_outgrows_a_screen() -> None:
    long = {
        f"{path.relative_to(PACKAGE).as_posix()}: {name}": lines
        for path in sorted(PACKAGE.rglob("*.py"))
        for name, lines in functions(ast.parse(path.read_text("utf-8")).body)
        if lines > LONGEST_LINES
    }
    grown = {name: lines for name, lines in long.items() if lines > LONG.get(name, LONGEST_LINES)}
    assert grown == {}, f"split it: at most {LONGEST_LINES} lines"
    assert {name for name in LONG if name not in long} == set(), "mended: take it off the list"


def test_the_desk_gains_nothing_public_without_words() -> None:
    """Elsewhere ruff asks every public class, function and method for a docstring."""
    lacking, _ = style_figures.without_words(style_figures.trees(PACKAGE / "desk"))
    assert len(lacking) <= DESK_WITHOUT_WORDS, "write a docstring: shapes, units, sign, errors"


def clocks_asked(path: Path) -> int:
    """How often a file asks `time` for the time or sleeps."""
    tree = ast.parse(path.read_text("utf-8"))
    asked = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute)
        and node.attr in CLOCK_WORDS
        and isinstance(node.value, ast.Name)
        and node.value.id == "time"
    ]
    taken = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module == "time"]
    return len(asked) + len(taken)


def test_no_test_goes_by_a_real_clock() -> None:
    """Who waits for another process does so with the helpers of tests/support; nothing is timed."""
    tests = ROOT / "tests"
    found = {
        path.relative_to(tests).as_posix(): count
        for path in sorted(tests.rglob("test_*.py"))
        if (count := clocks_asked(path))
    }
    grown = {name: count for name, count in found.items() if count > CLOCKS.get(name, 0)}
    assert grown == {}, "wait with `until`, or hand the code a clock of your own"
    assert found == CLOCKS, "fewer now: lower the numbers"


def test_names_of_constants_stand_for_one_value() -> None:
    """A limit lives in one place: the same public name with another value elsewhere is a trap."""
    values: dict[str, set[str]] = {}
    for path in PACKAGE.rglob("*.py"):
        for line in ast.parse(path.read_text("utf-8")).body:
            if isinstance(line, ast.Assign) and isinstance(line.value, ast.Constant):
                for target in line.targets:
                    if isinstance(target, ast.Name) and target.id.isupper() and target.id[0] != "_":
                        values.setdefault(target.id, set()).add(repr(line.value.value))
    double = {name for name, found in values.items() if len(found) > 1}
    assert double - TWICE == set(), "give one of them a name of its own"
    assert TWICE - double == set(), "mended: take it off the list"


# Names that mean something else in each module; none may be added.
TWICE = frozenset(
    {
        "AHEAD_S",
        "APART_S",
        "BEFORE_S",
        "DOTS_BELOW",
        "FEWEST_WINDOWS",
        "FOLDER_VARIABLE",
        "HEIGHT",
        "HOP_S",
        "LEAST_GAIN",
        "LEAST_HEIGHT",
        "LEAST_RISE_DB",
        "MOST_WINDOWS",
        "NARROW_PX",
        "NEAR_S",
        "REACH_PX",
        "ROWS_AT_ONCE",
        "SCHEMA",
        "STILL_S",
        "SUFFIX",
        "TITLE",
        "USUAL_SPREAD",
    }
)


@pytest.mark.slow
def test_every_import_contract_fails_when_it_is_broken(tmp_path: Path) -> None:
    for name, (file, module) in PLANTED.items():
        folder = tmp_path / str(len(list(tmp_path.iterdir())))
        shutil.copytree(ROOT / "app", folder / "app", ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(ROOT / "pyproject.toml", folder)
        with (folder / "app" / "lagline" / file).open("a", encoding="utf-8") as source:
            source.write(f"\n\ndef planted() -> None:\n    import {module}  # noqa\n")
        done = subprocess.run(
            [sys.executable, "-c", LINT, "--no-cache"],
            cwd=folder, env=os.environ | {"PYTHONPATH": str(folder / "app"), "COLUMNS": "200"},
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode != 0 and f"{name} BROKEN" in done.stdout, f"{name}\n{done.stdout}{done.stderr}"
