"""Findings as a table for a person to read in a terminal."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterable

from lagline.session.findings import Alignment, Finding
from lagline.session.values import Session
from lagline.units import samples_to_metres, samples_to_ms

POLARITY_WORDS = {1: "as anchor", -1: "inverted", None: "unclear"}


def print_findings(session: Session, alignment: Alignment, problems: Iterable[str]) -> None:
    """The table on stdout; problems and warnings above it on stderr."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    for problem in (*problems, *alignment.warnings):
        print(f"note: {problem}", file=sys.stderr)
    table = Table(
        title=f"{session.name}: lined up on {session.lane(alignment.anchor_id).name}", title_justify="left"
    )
    for heading in ("lane", "later by, samples", "ms", "cm", "polarity", "trust"):
        table.add_column(heading, justify="left" if heading in ("lane", "polarity", "trust") else "right")
    for finding in alignment.findings:
        table.add_row(*(Text(cell) for cell in _cells(session, finding)))
    # A pipe has no width of its own: never cut a number off there.
    console = Console(width=None if sys.stdout.isatty() else max(120, shutil.get_terminal_size().columns))
    console.print(table)
    for finding in alignment.findings:
        console.print(Text(f"  {finding.sentence}"))


def _cells(session: Session, finding: Finding) -> tuple[str, ...]:
    name = session.lane(finding.lane_id).name
    arrival = finding.arrival_samples
    if arrival is None:
        return (name, "-", "-", "-", "-", finding.trust_word)
    rate, air = session.rate_hz, session.temperature_c
    return (
        name,
        f"{arrival:+.2f}",
        f"{samples_to_ms(arrival, rate):+.3f}",
        f"{100 * samples_to_metres(arrival, rate, air):+.1f}",
        POLARITY_WORDS[finding.polarity],
        finding.trust_word,
    )
