"""A table as words, for pages and text."""

from __future__ import annotations

from msgspec import Struct


class Table(Struct, frozen=True):
    """A table of texts; each row as long as the headings."""

    headings: list[str]
    rows: list[list[str]]
