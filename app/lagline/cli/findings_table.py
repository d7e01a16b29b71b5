"""Findings as a table for a person to read in a terminal."""

from __future__ import annotations

from collections.abc import Iterable

from lagline.analysis.sentences import is_air
from lagline.cli.tables import number, print_line, print_table
from lagline.cli.telling import note
from lagline.session.edits import Rounding, proposed_shift_samples
from lagline.session.findings import Alignment, Finding
from lagline.session.values import Session
from lagline.units import samples_to_metres, samples_to_ms

HEADINGS = ("lane", "later by, samples", "ms", "cm", "polarity", "trust")
POLARITY_WORDS = {1: "as anchor", -1: "inverted"}


def print_findings(
    session: Session, alignment: Alignment, problems: Iterable[str], *, rounding: Rounding = "none"
) -> None:
    """The table and a sentence a lane on stdout; problems and warnings before it on stderr. What is proposed
    stands in the table where it is not just the arrival undone.
    """
    for problem in (*problems, *alignment.warnings):
        note(problem)
    print_table(
        f"{session.name}: measured against {session.lane(alignment.anchor_id).name}",
        (*HEADINGS, "shift, samples", "rounded") if rounding != "none" else HEADINGS,
        [
            _cells(session, finding) + (_shift(finding, rounding) if rounding != "none" else ())
            for finding in alignment.findings
        ],
        words=("lane", "polarity", "trust", "rounded"),
    )
    if alignment.sources:
        print_table(
            "By instrument: later by, samples",
            ("lane", *(source.name for source in alignment.sources)),
            [_source_cells(session, alignment, finding.lane_id) for finding in alignment.findings],
            words=("lane",),
        )
    for finding in alignment.findings:
        print_line(f"  {finding.sentence}")


def _shift(finding: Finding, rounding: Rounding) -> tuple[str, str]:
    """What is proposed, and whether as a whole number though a fraction was found."""
    shift = proposed_shift_samples(finding, rounding)
    return number(shift), "" if shift == finding.proposed_shift_samples else "whole"


def _cells(session: Session, finding: Finding) -> tuple[str, ...]:
    name = session.lane(finding.lane_id).name
    arrival = finding.arrival_samples
    if arrival is None:
        return (name, "-", "-", "-", "-", finding.trust_word)
    return (
        name,
        number(arrival),
        number(samples_to_ms(arrival, session.rate_hz), 3),
        _centimetres(session, arrival),
        _polarity_word(finding),
        finding.trust_word,
    )


def _source_cells(session: Session, alignment: Alignment, lane_id: str) -> tuple[str, ...]:
    lags = [source.lag(lane_id) for source in alignment.sources]
    told = ("-" if lag is None else number(lag.arrival_samples, 1) for lag in lags)
    return (session.lane(lane_id).name, *told)


def _centimetres(session: Session, arrival_samples: float) -> str:
    """The arrival as a way in air; nothing where the recordings did not start together."""
    if not is_air(arrival_samples, session.rate_hz):
        return ""
    return number(100 * samples_to_metres(arrival_samples, session.rate_hz, session.temperature_c), 1)


def _polarity_word(finding: Finding) -> str:
    """As firmly as the sentence below the table tells it."""
    sureness = finding.polarity_sureness
    if finding.polarity is None or sureness == "unclear":
        return "unclear"
    word = POLARITY_WORDS[finding.polarity]
    return f"probably {word}" if sureness == "probable" else word
