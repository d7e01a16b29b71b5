"""Says which of the files that must stay fully covered by tests are not.

    python tests/robustness/covered.py

Runs the tests named here under coverage (the `dev` extra), branches included. Prints a Markdown table; exit
code 1 when a line or branch of a listed file is not run.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

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


def main() -> int:
    with tempfile.TemporaryDirectory() as name:
        report = Path(name) / "coverage.json"
        words = [sys.executable, "-m", "pytest", "-q", "--cov", str(PACKAGE), "--cov-branch"]
        words += [f"--cov-report=json:{report}", *TESTS]
        done = subprocess.run(words, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=False)
        if done.returncode:
            print(done.stdout, file=sys.stderr)
            return 1
        files = json.loads(report.read_text())["files"]
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
