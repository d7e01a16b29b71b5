import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from tests.support import invented_session

from lagline.deliver.evidence_plots import arrival_plot, match_plot
from lagline.deliver.plots import LEFT, RIGHT, Axis, Plot, nice_ticks, tick_word
from lagline.session.findings import Finding

SVG = "{http://www.w3.org/2000/svg}"


def drawn(svg: str | None) -> ElementTree.Element:
    assert svg is not None
    return ElementTree.fromstring(svg)


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        (0, 10, [0, 2, 4, 6, 8, 10]),
        (-1, 1, [-1, -0.5, 0, 0.5, 1]),
        (0.13, 0.19, [0.14, 0.16, 0.18]),
        (-48, -7, [-40, -30, -20, -10]),
        (3, 3, [3]),
    ],
)
def test_ticks_are_round(low: float, high: float, ticks: list[float]) -> None:
    assert nice_ticks(low, high) == pytest.approx(ticks)


def test_axes_place_values() -> None:
    assert Axis(20, 20_000, "Hz", True).place(632.4555) == pytest.approx(0.5, abs=1e-6)
    assert Axis(-1, 1, "").place(0.5) == 0.75
    assert Axis(-1, 1, "").place(9) == 1.0
    assert (tick_word(2_000), tick_word(-0.5), tick_word(12_500)) == ("2k", "−0.5", "12.5k")


def test_a_long_line_is_thinned_and_keeps_its_peaks() -> None:
    ys = np.zeros(50_000)
    ys[31_234] = 1.0
    plot = Plot(Axis(0, 50_000, "x"), Axis(-1, 1, "y"), "peak")
    plot.line(list(range(50_000)), ys.tolist())
    (line,) = drawn(plot.svg()).findall(f"{SVG}polyline")
    points = [tuple(map(float, point.split(","))) for point in line.get("points", "").split()]
    assert len(points) < 1_000
    highest = min(points, key=lambda point: point[1])
    assert highest[0] == pytest.approx(LEFT + 31_234 / 50_000 * (360 - LEFT - RIGHT), abs=0.2)


def test_gaps_break_a_line() -> None:
    plot = Plot(Axis(0, 4, "x"), Axis(0, 1, "y"), "gap")
    plot.line([0, 1, 2, 3, 4], [0.1, 0.2, float("nan"), 0.4, 0.5])
    assert len(drawn(plot.svg()).findall(f"{SVG}polyline")) == 2


def test_words_are_escaped() -> None:
    plot = Plot(Axis(0, 1, "<b>x</b>"), Axis(0, 1, "a & b"), "<script>alert(1)</script>")
    plot.upright(0.5, "</svg>")
    svg = plot.svg()
    assert "<script>" not in svg and "<b>" not in svg
    texts = {element.text for element in drawn(svg).iter(f"{SVG}text")}
    assert {"<b>x</b>", "a & b", "</svg>"} <= texts


def test_words_beside_close_lines_stand_below_each_other() -> None:
    plot = Plot(Axis(0, 100, "x"), Axis(0, 1, "y"), "close")
    for at, word in ((50.0, "found"), (50.5, "2"), (51.0, "3"), (90.0, "4")):
        plot.upright(at, word)
    places = {text.text: float(text.get("y", "0")) for text in drawn(plot.svg()).iter(f"{SVG}text")}
    assert places["found"] < places["2"] < places["3"]
    assert places["4"] == places["found"]


def test_the_match_is_shown_around_what_was_found() -> None:
    finding = invented_session.finding("near", "Near", -101.37, 1, "strong")
    plot = drawn(match_plot(finding, "Near", "Room", 48_000))
    floor = max(float(text.get("y", "0")) for text in plot.iter(f"{SVG}text")) - 20
    ticks = [
        float((text.text or "").replace("−", "-"))
        for text in plot.iter(f"{SVG}text")
        if text.get("text-anchor") == "middle"
        and float(text.get("y", "0")) == pytest.approx(floor, abs=10)
        and (text.text or "").lstrip("−").replace(".", "").isdecimal()
    ]
    arrivals_ms = [1000 * runner.arrival_samples / 48_000 for runner in finding.runners_up[:3]]
    assert min(ticks) < -101.37 / 48 < max(ticks)
    assert max(ticks) - min(ticks) < 2.7 * max(5.0, *(abs(ms + 101.37 / 48) for ms in arrivals_ms))


def test_evidence_of_an_inverted_lane() -> None:
    finding = invented_session.finding("near", "Near", -101.37, -1, "strong")
    match = drawn(match_plot(finding, "Near", "Room", 48_000))
    assert {"found", "2", "3"} <= {element.text for element in match.iter(f"{SVG}text")}
    assert "Near" in (match.findtext(f"{SVG}title") or "")
    dots = drawn(arrival_plot(finding, "Near", "Room", 48_000)).findall(f"{SVG}circle")
    assert len(dots) == 40
    empty = sum(dot.get("fill") == "#fff" for dot in dots)
    assert empty == sum(sign < 0 for sign in finding.evidence.window_polarity)


def test_strays_do_not_set_the_scale() -> None:
    finding = invented_session.finding("near", "Near", -101.37, 1, "strong")
    plot = drawn(arrival_plot(finding, "Near", "Room", 48_000))
    ticks = [text.text or "" for text in plot.iter(f"{SVG}text") if text.get("text-anchor") == "end"]
    values = [float(tick.replace("−", "-")) for tick in ticks]
    assert max(values) - min(values) < 0.5  # strays lie 1.15 ms away


def test_nothing_to_draw() -> None:
    bare = Finding("x", None, None, None, 0.0, "none", "Nothing was found.")
    assert match_plot(bare, "X", "Room", 48_000) is None
    assert arrival_plot(bare, "X", "Room", 48_000) is None
