"""A table as words, for pages and text."""

from __future__ import annotations

from msgspec import Struct

from lagline.session.findings import SourceLag
from lagline.session.values import Session


class Table(Struct, frozen=True):
    """A table of texts; each row as long as the headings."""

    headings: list[str]
    rows: list[list[str]]


def source_table(session: Session) -> Table:
    """Where several instruments are told apart: each one's arrival in every lane, samples against the anchor;
    without rows elsewhere."""
    sources = session.alignment.sources if session.alignment is not None else ()
    if not sources:
        return Table([], [])
    rows = [[lane.name, *(_arrival(source.lag(lane.id)) for source in sources)] for lane in session.lanes]
    return Table(["lane", *(source.name for source in sources)], rows)


def _arrival(lag: SourceLag | None) -> str:
    return "" if lag is None else f"{lag.arrival_samples:+.1f}"
