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
    paper: Path | None = None
    if as_pdf or path.suffix.lower() == ".pdf":
        path, paper = _page_and_paper(path)
    for wanted in (path, paper) if paper else (path,):
        options.refuse_to_overwrite(wanted)
    with progress.shown("Measuring") as tell:
        page = report_page(session, chosen, progress=tell)
    data = b"" if paper is None else _laid_out(context.obj, page, paper)
    options.write_text(path, page)
    print(path)
    if paper is not None:
        options.write_bytes(paper, data)
        print(paper)


def _page_and_paper(path: Path) -> tuple[Path, Path]:
    """Where both go; any other ending is part of the name, as in "mix 1.2"."""
    ending = path.suffix.lower()
    stem = path.stem if ending in (".html", ".pdf") else path.name
    page = path if ending == ".html" else path.with_name(f"{stem}.html")
    paper = path if ending == ".pdf" else path.with_name(f"{stem}.pdf")
    return page, paper


def _laid_out(desk: DeskDoor, page: str, paper: Path) -> bytes:
    """The page as a PDF. Raises CannotWrite without the library that lays it out."""
    try:
        return desk.paper(page)
    except ImportError as error:
        reason = "the window library PySide6, which lays it out, is not installed"
        raise CannotWrite(paper, reason) from error
