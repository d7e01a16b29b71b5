"""The report: one HTML page that needs nothing beside it, to read, print and keep."""

from __future__ import annotations

import re
from importlib import resources

from lagline.deliver.report_values import Measured, report_words
from lagline.session.values import Session, Version

_NOTHING = Measured()
_FIGURE = re.compile(r"^[+\-−]?\d[\d.,]*( (ms|m|dB|s|Hz|ppm|LUFS|bytes))?$")


def report_html(session: Session, version: Version, measured: Measured = _NOTHING) -> str:
    """The report of a version: versions, lanes, health, findings with plots, tone, delay sheet, trials.

    Drawings are inline SVG without colour; names and notes are escaped. What `measured` lacks is said to
    be missing.
    """
    # jinja2 takes a tenth of a second to load, which only reports should pay for.
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["is_figure"] = lambda cell: bool(_FIGURE.match(cell))
    environment.filters["drawing"] = Markup  # our own SVG; the words in it are escaped where it is made
    template = environment.from_string(
        resources.files("lagline.deliver").joinpath("report.html.j2").read_text(encoding="utf-8")
    )
    return template.render(r=report_words(session, version, measured))
