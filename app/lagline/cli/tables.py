"""Tables for a person to read in a terminal or a file."""

from __future__ import annotations

import math
import shutil
import sys
from collections.abc import Iterable, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING

from lagline.cli.telling import aside, manner
from lagline.cli.terminal import drawn_on, plain, write_csv

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
    """Print a sentence below a table, wrapped between words where a terminal is narrow. Where tables are for
    programs it stands beside them.
    """
    from rich.text import Text

    if manner().csv:
        aside(text.strip())
        return

    _console().print(Text(plain(text)))


def print_table(
    title: str, headings: Sequence[str], rows: Iterable[Sequence[str]], words: Iterable[str] = ()
) -> None:
    """Print rows; columns whose heading is in `words` stand left, numbers stand right. As CSV numbers are
    numbers, without a sign before those above zero, and dashes for none are empty cells.
    """
    if manner().csv:
        _print_csv(headings, rows, set(words))
        return
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


def _print_csv(headings: Sequence[str], rows: Iterable[Sequence[str]], words: set[str]) -> None:
    from lagline.deliver.csv_text import csv_text

    cells = [
        [_value(cell, is_number=heading not in words) for heading, cell in zip(headings, row, strict=True)]
        for row in rows
    ]
    gap = "\r\n" if manner().tables else ""  # an empty line between two tables
    manner().tables += 1
    write_csv(gap + csv_text(headings, cells))


def _value(cell: str, *, is_number: bool) -> str | float | None:
    """What a cell tells a program: a number without its unit, nothing for a dash."""
    if cell == "-":
        return None
    if is_number:
        with suppress(ValueError):
            value = float(cell.removesuffix(" dB"))
            return value if math.isfinite(value) else cell
    return cell
