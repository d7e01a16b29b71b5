from html.parser import HTMLParser
from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support import invented_session, sessions
from tests.support.takes import noise_take

from lagline.blend.clips import open_clips
from lagline.deliver.report import report_html
from lagline.deliver.report_parts import measured_for_report
from lagline.deliver.report_values import Measured
from lagline.session.values import ORIGINAL_ID, Balance, Move, Ranked, Ranking, Trial, Version

EMPTY_TAGS = {"meta", "br", "link", "img", "hr"}


class Page(HTMLParser):
    """Checks that tags close in order; gathers text, tags and addresses."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self.text = ""
        self.feed(html)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href", "data")]
        if tag not in EMPTY_TAGS:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_page_says_everything_and_needs_nothing_beside_it() -> None:
    trial = Trial(
        "abx", ("original", "v1"), 16, (True,) * 12 + (False,) * 4, 0.0384, "2026-11-25T10:00:00+01:00"
    )
    session = replace(invented_session.session(), trials=(trial,), notes="Second verse is best.")
    measured = Measured(loudness_lufs={"original": -19.2, "v1": -17.6})
    page = Page(report_html(session, session.versions[0], measured))
    for wanted in (
        "Chapel, third try",
        "Lined up on Room",
        "Second verse is best.",
        "Near left hears the source 2.11 ms before Room",
        "-2.112 ms",
        "inverted",
        "unclear",
        "not found",
        "Balcony and Room share a hum",
        "Runner-up 1",
        "36 of 40",
        "1.6 LU louder",
        "12 of 16 right",
        "0.0384",
        "not significant does not show",
        "damage hearing",
        "Delay sheet",
        "at 88.2 kHz",
    ):
        assert wanted in page.text, wanted
    assert page.tags.count("svg") == 2 * 3  # three lanes with evidence
    assert page.addresses == []
    assert "script" not in page.tags


def test_names_and_notes_cannot_write_the_page() -> None:
    evil = "<script>alert(1)</script><img src=x onerror=alert(2)>"
    session = invented_session.session()
    lanes = tuple(replace(lane, name=f"{evil} {lane.id}") for lane in session.lanes)
    version = Version("v1", evil, {"near": Move(10.0)}, note=evil)
    session = replace(session, lanes=lanes, name=evil, notes=evil, versions=(version,))
    html = report_html(session, version)
    page = Page(html)
    assert "script" not in page.tags
    assert "img" not in page.tags
    assert "alert(1)" in page.text


def test_balances_and_rankings_are_told() -> None:
    session = invented_session.session()
    first = Ranked("a", "Near + Room, <blink>Shifted", 8, 0.9, 0.62, 0.98)
    second = Ranked("b", "Near", 0, 0.1, 0.02, 0.38)
    ranking = Ranking((first, second), 8, 0.0039, "2026-11-25T10:00:00+01:00", "In headphones.")
    version = replace(session.versions[0], balances={"near": Balance(-3.0, -0.4), "room": Balance(mute=True)})
    session = replace(session, versions=(version, *session.versions[1:]), rankings=(ranking,))
    page = Page(report_html(session, version))
    for wanted in (
        "Near left -3.0 dB, 40% left; Room muted",
        "Combinations compared blind",
        "Near + Room, <blink>Shifted comes first.",
        "8 of 8 choices; preferred to an average one 90 % of the time (62 to 98 %)",
        "In headphones.",
    ):
        assert wanted in page.text, wanted
    assert "blink" not in page.tags


def test_what_was_not_measured_is_said() -> None:
    session = sessions.session()
    page = Page(report_html(session, session.versions[0]))
    assert "Nothing was measured yet." in page.text
    assert "Not measured." in page.text
    assert "Blind trials" not in page.text


def test_parts_are_measured_from_the_recordings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LAGLINE_CACHE_DIR", str(tmp_path / "cache"))
    session = noise_take(tmp_path / "in", frames=96_000)
    twin = replace(session.lanes[1], source=session.lanes[0].source, place_samples=0)
    version = Version("v1", "Shifted", {"far": Move(480.0)})
    session = replace(session, lanes=(session.lanes[0], twin), versions=(version,), anchor_id="near")
    seen: list[float] = []
    measured = measured_for_report(session, version, open_clips(session), progress=seen.append)
    assert seen == sorted(seen) and seen[-1] == 1.0
    assert set(measured.health) == {"near", "far"}
    # Two equal lanes add up to 3 dB more power in step than 10 ms apart.
    change = measured.loudness_lufs["v1"] - measured.loudness_lufs[ORIGINAL_ID]
    assert change == pytest.approx(-3.0, abs=0.4)
    page = Page(report_html(session, version, measured))
    assert "Near and Far hold exactly the same samples" in page.text
    assert page.tags.count("svg") == 2
    assert "LU quieter than the original" in page.text
