"""Pages that everybody can read: in the dark, by ear, by keyboard (WCAG 2.2, 1.1.1, 1.3.1, 1.4.3, 2.4.6)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
import wcag_contrast_ratio
from msgspec.structs import replace
from tests.support import invented_session
from tests.support.takes import noise_take

from lagline.blend.clips import open_clips
from lagline.deliver.options import DeliveryOptions
from lagline.deliver.report import report_html
from lagline.deliver.report_parts import measured_for_report
from lagline.deliver.sheet import delay_sheet
from lagline.deliver.sheet_text import sheet_html
from lagline.jobs.batch_page import batch_page
from lagline.jobs.hand_over import hand_over_take
from lagline.jobs.journal import LaneResult, TakeResult
from lagline.session.values import Move, Version

DARK = re.compile(r"@media screen and \(prefers-color-scheme: dark\) \{\n(.*?)\n\}", re.DOTALL)
RULE = re.compile(r"([^{}]+)\{([^{}]*)\}")


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("pages")
    session = invented_session.session()
    take = noise_take(folder / "in", frames=96_000)
    version = Version("v1", "Shifted", {"far": Move(48.0)})
    take = replace(take, versions=(version,), alignment=None)
    measured = measured_for_report(take, version, open_clips(take))
    hand_over_take(take, folder / "out", "v1", DeliveryOptions())
    lane = LaneResult("near", "weak", 1.0, 1, -1.0)
    done = TakeResult("a", "done", rate_hz=48_000, lanes=(lane,))
    return {
        "report": report_html(session, session.versions[0]),
        "report with tone": report_html(take, version, measured),
        "sheet": sheet_html(delay_sheet(session, session.versions[0])),
        "batch": batch_page([done, TakeResult("b", "failed", "no")]),
        "certificate": (folder / "out" / "certificate.html").read_text("utf-8"),
    }


NAMES = ("report", "report with tone", "sheet", "batch", "certificate")


class Page(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attributes)))


@pytest.mark.parametrize("name", NAMES)
def test_headings_go_down_step_by_step(pages: dict[str, str], name: str) -> None:
    levels = [int(tag[1]) for tag, _ in Page(pages[name]).tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


@pytest.mark.parametrize("name", NAMES)
def test_every_row_and_column_of_a_table_has_its_heading(pages: dict[str, str], name: str) -> None:
    rows: list[list[str | None]] = []
    for tag, attributes in Page(pages[name]).tags:
        if tag == "tr":
            rows.append([])
        elif tag in ("th", "td"):
            rows[-1].append(attributes.get("scope"))
    assert rows
    for row in rows:
        assert set(row) == {"col"} or (row[0] == "row" and not any(row[1:]))


@pytest.mark.parametrize("name", NAMES[:2])
def test_every_drawing_says_what_it_shows(pages: dict[str, str], name: str) -> None:
    drawings = [attributes for tag, attributes in Page(pages[name]).tags if tag == "svg"]
    assert drawings
    for one in drawings:
        assert one["role"] == "img"
        title, _, says = (one["aria-label"] or "").partition(". ")
        assert title and re.search(r"\d|No arrival", says), one["aria-label"]


def colours(page: str) -> Iterator[tuple[str, dict[str, str]]]:
    """Selector and declarations of the dark style."""
    (dark,) = DARK.findall(page)
    for selectors, declared in RULE.findall(dark):
        values = dict(part.split(":") for part in declared.strip(" ;").split(";"))
        for selector in selectors.split(","):
            yield selector.strip(), {key.strip(): value.strip() for key, value in values.items()}


def rgb(colour: str) -> tuple[float, float, float]:
    digits = colour.lstrip("#")
    digits = digits if len(digits) == 6 else "".join(2 * digit for digit in digits)
    return tuple(int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4))  # type: ignore[return-value]


def test_in_the_dark_all_can_be_read_and_nothing_is_forgotten(pages: dict[str, str]) -> None:
    page = pages["report with tone"] + pages["report"]
    style = dict(colours(pages["report"]))
    ground = style["body"]["background"]
    for place in ("body", "th", "th.row"):
        on = style[place].get("background", ground)
        assert wcag_contrast_ratio.rgb(rgb(style[place]["color"]), rgb(on)) >= 4.5, place
    drawn = set(re.findall(r'(fill|stroke)="(#\w+)"', page))
    assert len(drawn) >= 6
    for what, colour in drawn:
        if (what, colour) == ("stroke", "#999"):  # a frame, between both grounds
            continue
        dark = style[f'svg [{what}="{colour}"]'][what]
        if what == "stroke" and colour != "#ddd":  # all but the grid
            assert wcag_contrast_ratio.rgb(rgb(dark), rgb(ground)) >= 3.0, colour
    assert style["svg text"]["fill"] == style["body"]["color"]


@pytest.mark.parametrize("name", NAMES)
def test_paper_stays_light(pages: dict[str, str], name: str) -> None:
    without = DARK.sub("", pages[name])
    assert "background: #fff" in without and "prefers-color-scheme" not in without
    assert '<meta name="color-scheme" content="light dark">' in without


def test_what_every_figure_can_not_say_stands_below_it(pages: dict[str, str]) -> None:
    words = re.sub(r"\s+", " ", pages["report"] + pages["report with tone"])
    for limit in (
        "ITU-R BS.1770", "one standard deviation", "three runners-up at most", "400 stretches",
        "more than 60 dB below the top is not shown", "bars end at 24 dB", "Distances are of sound in air",
        "by guessing alone" if "Blind trials" in words else "First notch",
    ):  # fmt: skip
        assert limit in words, limit


def test_the_house_style_sheet_is_the_only_one(pages: dict[str, str]) -> None:
    assert not [name for name, page in pages.items() if Path(name) and page.count("<style>") != 1]
