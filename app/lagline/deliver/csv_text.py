"""CSV that a spreadsheet opens as it is meant: RFC 4180, and no cell that it would run as a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

# What spreadsheets take for the beginning of a formula (common practice, no source: as listed by
# security guides on "CSV injection").
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def safe_cell(text: str) -> str:
    """Text from a file or a name as a cell: an apostrophe before what would be run as a formula."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def csv_text(headings: Sequence[str], rows: Iterable[Sequence[str | float | int | None]]) -> str:
    """A table as CSV with CR LF line ends. Numbers stay numbers, None is empty, text is made safe."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([safe_cell(heading) for heading in headings])
    for row in rows:
        writer.writerow(
            ["" if cell is None else safe_cell(cell) if isinstance(cell, str) else cell for cell in row]
        )
    return out.getvalue()
