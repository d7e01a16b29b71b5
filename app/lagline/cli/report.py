"""`lagline report`: everything known and decided of a take, on one page to keep."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lagline.cli import options, progress

SessionFile = Annotated[Path, typer.Argument(help="A session file.", metavar="SESSION", show_default=False)]
VersionName = Annotated[
    str | None, typer.Option("--version", help="By default the session's current version.")
]
Out = Annotated[
    Path | None,
    typer.Option("--out", "-o", help="Where to write it. By default beside the session.", metavar="FILE"),
]


def report_command(session_file: SessionFile, version: VersionName = None, out: Out = None) -> None:
    """Write a report: findings with their evidence, health, tone before and after, delays, notes."""
    from lagline.jobs.write_report import report_name, report_page
    from lagline.session.storage import load

    session = load(session_file)
    chosen = options.version_named(session, version)
    path = out or session_file.with_name(report_name(session, chosen))
    options.refuse_to_overwrite(path)
    with progress.shown("Measuring") as tell:
        page = report_page(session, chosen, progress=tell)
    options.write_text(path, page)
    print(path)
