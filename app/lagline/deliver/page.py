"""HTML pages from the templates in `pages/`: self-contained, every word in them escaped."""

from __future__ import annotations

import re
from importlib import resources

from lagline.session.version_colours import ON_DARK, ON_LIGHT

_FIGURE = re.compile(r"^[+\-−]?\d[\d.,]*( ± \d[\d.]*)?( (ms|m|dB|s|Hz|ppm|LUFS|bytes))?$")


def filled_page(template: str, **values: object) -> str:
    """The template of that file name with its values. What a template needs and does not get is an error."""
    # jinja2 takes a tenth of a second to load, which only pages should pay for.
    from jinja2 import Environment, FunctionLoader, StrictUndefined
    from markupsafe import Markup

    folder = resources.files("lagline.deliver").joinpath("pages")
    environment = Environment(
        loader=FunctionLoader(lambda name: folder.joinpath(name).read_text(encoding="utf-8")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )
    environment.filters["is_figure"] = lambda cell: bool(_FIGURE.match(cell))
    environment.filters["drawing"] = Markup  # our own SVG; the words in it are escaped where it is made
    colours = list(zip(ON_LIGHT, ON_DARK, strict=True))
    return environment.get_template(template).render(version_colours=colours, **values)
