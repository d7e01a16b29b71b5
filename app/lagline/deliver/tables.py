"""A table as words, for pages and text."""

from __future__ import annotations

from msgspec import Struct


class Table(Struct, frozen=True):
    headings: list[str]
    rows: list[list[str]]
