"""Tables for a person to read in a terminal or a file."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from lagline.cli.terminal import drawn_on, plain

if TYPE_CHECKING:
    from rich.console import Console


def number(value: float | None, decimals: int = 2) -> str:
    """A signed number, or a dash for none."""
    return "-" if value is None else f"{value:+.{decimals}f}"


def _console() -> Console:
    """Standard output. A pipe has no width of its own: nothing is cut off or wrapped narrowly there."""
    from rich.console import Console

    width = None if sys.stdout.isatty() else max(120, shutil.get_terminal_size().columns)
    return Console(file=drawn_on(sys.stdout), width=width)


def print_line(text: str) -> None:
    """Print a sentence below a table, wrapped between words where a terminal is narrow."""
    from rich.text import Text

    _console().print(Text(plain(text)))


def print_table(
    title: str, headings: Sequence[str], rows: Iterable[Sequence[str]], words: Iterable[str] = ()
) -> None:
    """Print rows; columns whose heading is in `words` stand left, numbers stand right."""
    from rich.box import HEAVY_HEAD
    from rich.table import Table
    from rich.text import Text

    console = _console()
    # Lines drawn around cells are for eyes: another program gets columns of text.
    box = HEAVY_HEAD if console.is_terminal else None
    table = Table(title=Text(plain(title)), title_justify="left", box=box, pad_edge=console.is_terminal)
    left = set(words)
    for heading in headings:
        table.add_column(Text(plain(heading)), justify="left" if heading in left else "right")
    for row in rows:
        table.add_row(*(Text(plain(cell)) for cell in row))  # Text: a name in square brackets is no markup
    console.print(table)
