"""`lagline report`: everything known and decided of a take, on one page to keep."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lagline.cli import options, progress
from lagline.cli.desk_door import DeskDoor
from lagline.errors import CannotWrite

SessionFile = Annotated[Path, typer.Argument(help="A session file.", metavar="SESSION", show_default=False)]
VersionName = Annotated[
    str | None, typer.Option("--version", help="By default the session's current version.")
]
Out = Annotated[
    Path | None,
    typer.Option("--out", "-o", help="Where to write it. By default beside the session.", metavar="FILE"),
]


AsPdf = Annotated[bool, typer.Option("--pdf", help="Write it as a PDF too, beside the page.")]


def report_command(
    context: typer.Context,
    session_file: SessionFile,
    version: VersionName = None,
    out: Out = None,
    as_pdf: AsPdf = False,
) -> None:
    """Write a report: findings with their evidence, health, tone before and after, delays, notes."""
    from lagline.jobs.write_report import report_name, report_page
    from lagline.session.storage import load

    session = load(session_file)
    chosen = options.version_named(session, version)
    path = out or session_file.with_name(report_name(session, chosen))
    as_pdf = as_pdf or path.suffix.lower() == ".pdf"
    path, paper = path.with_suffix(".html") if as_pdf else path, path.with_suffix(".pdf")
    for wanted in (path, paper) if as_pdf else (path,):
        options.refuse_to_overwrite(wanted)
    with progress.shown("Measuring") as tell:
        page = report_page(session, chosen, progress=tell)
    options.write_text(path, page)
    print(path)
    if as_pdf:
        desk: DeskDoor = context.obj
        try:
            data = desk.paper(page)
        except ImportError as error:
            reason = "the window library PySide6, which lays it out, is not installed"
            raise CannotWrite(paper, reason) from error
        options.write_bytes(paper, data)
        print(paper)
