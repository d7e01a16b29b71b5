"""Says which of the files that must stay fully covered by tests are not.

    python tests/robustness/covered.py
    python tests/robustness/covered.py --floor session --floor blend

Runs the tests named here under coverage (the `dev` extra), branches included. Prints a Markdown table; exit
code 1 when a line or branch of a listed file is not run.

With `--floor` it says instead how much of each floor its own unit tests run, without the slow ones; `all`
stands for every floor but the desk. What other processes run (playback, batches) is not seen, nor what is
tested from the desk and from end to end, so it is a lower bound.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "app" / "lagline"
# Where a mistake costs work, a recording or trust.
COVERED = (
    "units.py", "files.py", "session/autosave.py", "session/checks.py", "session/documents.py",
    "session/edits.py", "session/findings.py", "session/history.py", "session/lock.py", "session/owner.py",
    "session/places.py", "session/plan.py", "session/restore_points.py", "session/setup.py",
    "session/storage.py",
    "session/values.py", "media/bext.py", "media/cue.py", "media/ixml.py", "media/overview_file.py",
    "media/quantise.py", "media/riff.py", "blend/fraction.py", "deliver/csv_text.py", "deliver/names.py",
    "deliver/staging.py", "jobs/journal.py",
)  # fmt: skip
TESTS = (
    "tests/unit/session", "tests/unit/media", "tests/unit/blend", "tests/unit/deliver", "tests/unit/jobs",
    "tests/unit/test_units.py", "tests/desk/test_autosaver.py", "tests/robustness/test_faults.py",
    "tests/robustness/test_readers.py", "tests/robustness/test_hostile.py",
    "tests/robustness/test_rare_cases.py",
)  # fmt: skip


FLOORS = ("media", "session", "analysis", "blend", "playback", "deliver", "jobs", "cli")


def measured(package: Path, tests: tuple[str, ...], *more: str) -> dict[str, Any]:
    """Coverage's report of a package under these tests. Raises SystemExit when one of them fails."""
    with tempfile.TemporaryDirectory() as name:
        report = Path(name) / "coverage.json"
        words = [sys.executable, "-m", "pytest", "-q", "--cov", str(package), "--cov-branch", *more]
        words += [f"--cov-report=json:{report}", *tests]
        environment = os.environ | {"COVERAGE_FILE": str(Path(name) / "data")}
        done = subprocess.run(
            words, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=False, env=environment
        )
        if done.returncode:
            raise SystemExit(done.stdout)
        return dict(json.loads(report.read_text()))


def print_floors(floors: list[str]) -> None:
    """A row for each floor: how many lines it has, and how much of it its own tests run."""
    print("| floor | lines | run | branches | taken |\n|---|---|---|---|---|")
    for floor in FLOORS if "all" in floors else floors:
        report = measured(PACKAGE / floor, (f"tests/unit/{floor}",), "-m", "not slow")
        totals = report["totals"]
        lines, branches = totals["num_statements"], totals["num_branches"]
        run = f"{100 * totals['covered_lines'] / lines:.1f} %"
        taken = f"{100 * totals['covered_branches'] / branches:.1f} %"
        print(f"| {floor} | {lines} | {run} | {branches} | {taken} |", flush=True)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--floor", action="append", choices=[*FLOORS, "all"], default=[])
    asked = parser.parse_args()
    if asked.floor:
        print_floors(asked.floor)
        return 0
    files = measured(PACKAGE, TESTS)["files"]
    found = {Path(path).as_posix().split("app/lagline/")[-1]: figures for path, figures in files.items()}
    print("| file | lines | not run | branches not taken |\n|---|---|---|---|")
    lacking = False
    for path in COVERED:
        figures = found[path]
        lines, branches = figures["missing_lines"], figures["missing_branches"]
        lacking = lacking or bool(lines or branches)
        count = figures["summary"]["num_statements"]
        print(f"| {path} | {count} | {_listed(lines)} | {_listed(f'{a}-{b}' for a, b in branches)} |")
    return 1 if lacking else 0


def _listed(values: object) -> str:
    return ", ".join(str(value) for value in values) or "none"  # type: ignore[attr-defined]


if __name__ == "__main__":
    sys.exit(main())
