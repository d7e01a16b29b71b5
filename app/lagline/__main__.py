"""`lagline`: opens the desk, or runs a command. Joins the two doors, which don't know each other."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from lagline import __version__


class LazyDesk:
    """The desk for commands that show it. Qt is imported when it is first asked for."""

    def open(self, paths: Sequence[Path], *, measure: bool = False) -> int:
        """Open the desk on these files; returns its exit code when the window closes."""
        from lagline.desk.app import open_desk

        return open_desk(list(paths), measure=measure)

    def picture(self, session: Path, png: Path, width: int, height: int, dark: bool) -> None:
        """Draw the desk with a session into a picture file, `width` by `height` pixels; needs no display."""
        from lagline.desk.app import picture_of_desk

        picture_of_desk(session, png, width, height, dark=dark)

    def paper(self, page: str) -> bytes:
        """A page of HTML as a PDF, on A4."""
        from lagline.desk.report_pdf import pdf_without_window

        return pdf_without_window(page)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run `lagline` with these arguments (those of the process by default); returns the exit code."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    if given == ["--version"]:  # before anything slow is imported
        print(f"lagline {__version__}")
        return 0
    if given == ["--try-window"]:  # asked by `lagline.cli.desk_door.window_problem`, in a process of its own
        from lagline.desk.app_icon import try_window

        return try_window()
    from lagline.cli.run import run

    return run(given, LazyDesk())


if __name__ == "__main__":
    sys.exit(main())
