"""`lagline check`: the health of recordings, or of the files behind a session."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lagline.cli import options, progress
from lagline.files import readable

if TYPE_CHECKING:
    from lagline.cli.documents import CheckDocument

Checked = Annotated[
    list[Path],
    typer.Argument(
        help="Recordings, folders of them, or session files; - reads names from standard input.",
        metavar="FILE",
        show_default=False,
        callback=options.with_names_read,
    ),
]


def check_command(files: Checked, as_json: options.AsJson = False) -> int:
    """Say what is wrong with recordings before you trust them. Exit code 1 when one can't be read at all."""
    from lagline.jobs.check import check_recordings
    from lagline.jobs.open_take import recordings_in
    from lagline.jobs.sources import source_problems
    from lagline.session.storage import SUFFIX, load

    sessions = [file for file in files if file.suffix == SUFFIX]
    paths = [file for file in files if file.suffix != SUFFIX]
    problems: list[str] = []
    for file in sessions:
        session = load(file)
        broken = source_problems(session)
        problems += [problem.sentence for problem in broken]
        gone = {problem.path for problem in broken}
        paths += [lane.source.path for lane in session.lanes if lane.source.path not in gone]
    recordings = recordings_in(paths) if paths else []
    with progress.shown("Reading") as tell:
        checks = check_recordings(recordings, progress=tell)
    found = [*problems, *(problem for check in checks for problem in check.problems)]
    if as_json:
        import msgspec

        document: CheckDocument = {
            "schema": "lagline/check/1",
            "session_problems": problems,
            "recordings": [
                {
                    "name": check.name,
                    "file": readable(str(check.path)),
                    "readable": check.health is not None,
                    "problems": check.problems,
                    "notes": check.notes,
                }
                for check in checks
            ],
        }
        sys.stdout.write(msgspec.json.format(msgspec.json.encode(document), indent=1).decode() + "\n")
    else:
        for problem in found:
            print(f"problem: {problem}")
        for check in checks:
            for note in check.notes:
                print(f"note: {note}")
        well = [check.name for check in checks if not check.problems]
        print(f"{len(well)} of {len(checks)} channels without a problem.")
    unreadable = bool(problems) or any(check.health is None for check in checks)
    return 1 if unreadable else 0
