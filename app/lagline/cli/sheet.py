"""`lagline sheet`: the delay sheet of a session, to type into a delay unit."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from lagline.cli import options
from lagline.cli.terminal import write_csv

SessionFile = Annotated[Path, typer.Argument(help="A session file.", metavar="SESSION", show_default=False)]
VersionName = Annotated[
    str | None, typer.Option("--version", help="By default the session's current version.")
]
AsCsv = Annotated[bool, typer.Option("--csv", help="As a table for a spreadsheet.")]
AsPage = Annotated[bool, typer.Option("--html", help="As a page to print.")]
Out = Annotated[
    Path | None, typer.Option("--out", "-o", help="Write to this file instead of showing it.", metavar="FILE")
]


def sheet_command(
    session_file: SessionFile,
    version: VersionName = None,
    as_csv: AsCsv = False,
    as_page: AsPage = False,
    out: Out = None,
) -> None:
    """Show how long to delay each lane, in samples, milliseconds and distance, and what to flip."""
    from lagline.deliver.sheet import delay_sheet
    from lagline.deliver.sheet_text import sheet_csv, sheet_html, sheet_text
    from lagline.session.storage import load

    if as_csv and as_page:
        raise typer.BadParameter("choose one of --csv and --html")
    session = load(session_file)
    sheet = delay_sheet(session, options.version_named(session, version))
    form = sheet_csv if as_csv else sheet_html if as_page else sheet_text
    text = form(sheet)
    if out is None and as_csv:
        write_csv(text)
    elif out is None:
        sys.stdout.write(text)
    else:
        options.write_text(out, text)
        print(out)
