"""The report: one HTML page that needs nothing beside it, to read, print and keep."""

from __future__ import annotations

from lagline.deliver.page import filled_page
from lagline.deliver.report_values import Measured, report_words
from lagline.session.values import Session, Version

_NOTHING = Measured()


def report_html(session: Session, version: Version, measured: Measured = _NOTHING) -> str:
    """The report of a version: versions, lanes, health, findings with plots, tone, delay sheet, trials.

    Drawings are inline SVG without colour; names and notes are escaped. What `measured` lacks is said to
    be missing.
    """
    words = report_words(session, version, measured)
    return filled_page("report.html.j2", title=words.title, r=words)
