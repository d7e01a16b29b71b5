"""No word of a drawing in a report is cut off at its edge, by the letters of a real font."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

import pytest
from PySide6.QtGui import QFont, QFontMetricsF
from tests.support import invented_session

from lagline.deliver.evidence_plots import arrival_plot, match_plot
from lagline.deliver.plots import Axis, Plot

pytestmark = pytest.mark.usefixtures("qapp")
SVG = "{http://www.w3.org/2000/svg}"


def extents(svg: str) -> list[tuple[str, float, float, float]]:
    """Each word, where it begins and ends along its own direction, and the length of that side."""
    font = QFont("sans-serif")
    font.setPixelSize(9)
    metrics = QFontMetricsF(font)
    root = ElementTree.fromstring(svg)
    width, height = (float(root.get(side, "0")) for side in ("width", "height"))
    found = []
    for parent in root.iter():
        for text in parent.findall(f"{SVG}text"):
            words, at, side = text.text or "", float(text.get("x", "0")), width
            turned = re.match(r"translate\(\S+ (\S+)\) rotate\(-90\)", parent.get("transform", ""))
            if turned:
                at, side = float(turned.group(1)), height
            long = metrics.horizontalAdvance(words)
            start = at - {"middle": long / 2, "end": long}.get(text.get("text-anchor", ""), 0.0)
            found.append((words, start, start + long, side))
    return found


def cut(svg: str | None) -> list[str]:
    assert svg is not None
    words = extents(svg)
    assert len(words) > 6
    return [text for text, start, stop, side in words if start < -0.5 or stop > side + 0.5]


@pytest.mark.parametrize("anchor", ["Room", f"Overhead{' of the large kit' * 5}"])
def test_plots_of_findings(anchor: str) -> None:
    session = invented_session.session()
    assert session.alignment is not None
    for finding in session.alignment.findings:
        for plot in (match_plot, arrival_plot):
            if (svg := plot(finding, "Near", anchor, session.rate_hz)) is not None:
                assert cut(svg) == []


@pytest.mark.parametrize("scale", [1e-4, 0.01, 1.0, 37.0, 5_000.0, 2e6])
def test_axes_of_any_scale(scale: float) -> None:
    for low in (-1.0, 0.0, 3.0):
        axis = Axis(
            low * scale, (low + 2.0) * scale, "what lies along an axis, in units of something rather long"
        )
        plot = Plot(axis, axis, "any")
        plot.tag(axis.high - 0.05 * scale, axis.high, "a name that begins near the edge")
        plot.upright(axis.low, "first")
        plot.upright(axis.high, "last one")
        assert cut(plot.svg()) == []


def test_it_would_see_a_word_that_is_cut() -> None:
    plot = Plot(Axis(0, 1, "x"), Axis(0, 1, "y"), "cut")
    svg = plot.svg().replace(">x<", f">{'long ' * 40}<")
    assert len(cut(svg)) == 1
