"""The guide says what the program does: links, pictures, menu entries, keys, command lines, figures."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
import typer
from PySide6.QtGui import QImage

from lagline.analysis.notches import notch_level_db, peak_level_db
from lagline.cli.app import app
from lagline.desk.commands import COMMANDS, MENUS
from lagline.desk.guide.guide_window import link_name
from lagline.desk.guide.topics import CONTENTS, TOPICS, guide_folder, topic_of
from lagline.jobs.air import speed_of_sound_in_moist_air
from lagline.jobs.demo import load_demo
from lagline.jobs.line_up import line_up
from lagline.session.findings import Finding
from lagline.units import speed_of_sound

GUIDE = Path(__file__).parents[3] / "assets" / "guide"
PAGES = sorted(GUIDE.glob("*.md"))
MENTION = re.compile(rf"\*\*({'|'.join(MENUS)}) > ([^*]+)\*\*(?: \(([^)]+)\))?")


def text(page: Path) -> str:
    return page.read_text(encoding="utf-8")


def headings(page: Path) -> list[str]:
    return re.findall(r"^#+ (.+)$", text(page), re.MULTILINE)


def test_the_guide_is_found() -> None:
    assert guide_folder() is not None
    assert len(PAGES) > 10


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_links_and_pictures_are_there(page: Path) -> None:
    for target, heading in re.findall(r"\]\(([^)#]*)(?:#([^)]+))?\)", text(page)):
        there = GUIDE / target if target else page
        assert there.is_file(), target
        assert not heading or heading in map(link_name, headings(there)), heading


def test_every_page_is_in_the_contents_and_every_picture_is_used_and_made() -> None:
    contents = text(GUIDE / CONTENTS)
    assert [page.name for page in PAGES if page.name != CONTENTS and f"({page.name})" not in contents] == []
    used = {name for page in PAGES for name in re.findall(r"\(pictures/([^)]+)\)", text(page))}
    assert used == {picture.name for picture in (GUIDE / "pictures").iterdir()}
    script = text(GUIDE / "make_pictures.py") + text(
        GUIDE.parents[1] / "tests" / "benchmarks" / "accuracy_page.py"
    )
    assert [name for name in used if name not in script and f'"{Path(name).stem}"' not in script] == []
    for name in used:
        assert QImage(str(GUIDE / "pictures" / name)).width() >= 400, name


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_menu_entries_and_keys_are_the_desk_s(page: Path) -> None:
    known = {(one.menu, one.text): one for one in COMMANDS}
    for menu, entry, keys in MENTION.findall(text(page)):
        assert (menu, entry) in known, f"{menu} > {entry}"
        if keys:
            assert keys in known[menu, entry].keys, f"{menu} > {entry} is not on {keys}"


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_command_lines_are_understood(page: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(GUIDE.parents[1])
    group = typer.main.get_command(app)
    lines = [
        line for block in re.findall(r"```sh\n(.*?)```", text(page), re.DOTALL) for line in block.splitlines()
    ]
    lines += re.findall(r"`(lagline [^`]+)`", text(page))
    for line in lines:
        words = shlex.split(line)
        if words[0] != "lagline" or words[1].startswith("-"):
            continue
        with group.make_context("lagline", words[1:2], resilient_parsing=True) as context:
            command = group.get_command(context, words[1])  # type: ignore[attr-defined]
            assert command is not None, line
            assert command.make_context(words[1], words[2:], parent=context)


def test_levels_of_the_comb() -> None:
    """Figures of when-not-to-align.md against the comb's formula."""
    rows = re.findall(
        r"^\| ([\d.]+) dB.*\| (-[\d.]+|silence)(?: dB)? \| \+([\d.]+) dB \|$",
        text(GUIDE / "when-not-to-align.md"),
        re.MULTILINE,
    )
    assert len(rows) == 6
    for below, notch, peak in rows:
        exact = 20 * 0.47712125472 if below == "9.5" else float(below)  # three times the distance
        assert float(peak) == pytest.approx(peak_level_db(exact), abs=0.051)
        if notch != "silence":
            assert float(notch) == pytest.approx(notch_level_db(exact), abs=0.051)


def test_speeds_of_sound() -> None:
    rows = re.findall(r"^\| (\d+) \| ([\d.]+) \| ([\d.]+) \|$", text(GUIDE / "formulas.md"), re.MULTILINE)
    assert len(rows) == 4
    for celsius, dry, moist in rows:
        assert float(dry) == pytest.approx(speed_of_sound(float(celsius)), abs=0.006)
        assert float(moist) == pytest.approx(speed_of_sound_in_moist_air(float(celsius), 50), abs=0.006)


def test_the_sentence_explained_is_the_one_the_demo_says() -> None:
    """All but how many passages agree, which any change of the measurement may move by one."""
    (quoted,) = re.findall(r"^> (near_left .+)$", text(GUIDE / "reading-the-evidence.md"), re.MULTILINE)
    session = load_demo("chapel")
    finding = line_up(session).finding(session.lane_named("near_left").id)
    assert finding is not None
    count = re.compile(r"\d+ of \d+ (passages|attacks) agree")
    assert count.sub(r"\1", finding.sentence) == count.sub(r"\1", quoted)
    word = count.search(quoted)
    assert word is not None and f"**{word[0]}**" in text(GUIDE / "reading-the-evidence.md")


def test_every_topic_has_its_page_and_heading() -> None:
    for topic in TOPICS:
        assert (GUIDE / topic.page).is_file(), topic
        assert not topic.heading or topic.heading in headings(GUIDE / topic.page), topic


@pytest.mark.parametrize(
    ("values", "page", "heading"),
    [
        ({"arrival_samples": None, "trust_word": "none"}, "troubleshooting.md", ""),
        ({"drift_ppm": 38.0, "drift_uncertainty_ppm": 3.0}, "two-recorders.md", "Different clocks"),
        ({"drift_ppm": 2.0, "drift_uncertainty_ppm": 3.0}, "reading-the-evidence.md", "Trust"),
        ({"movement_ms": 1.2}, "two-recorders.md", "Steps instead of slopes"),
        ({"arrival_samples": -110_000.0}, "two-recorders.md", "Different starts"),
        ({"trust_word": "weak"}, "reading-the-evidence.md", "Trust"),
        ({"polarity": None}, "reading-the-evidence.md", "Polarity"),
        ({"polarity": -1}, "reading-the-evidence.md", "Polarity"),
        ({"first_sound_samples": 90.0, "best_fit_samples": 100.0}, "reading-the-evidence.md", "Two readings"),
        ({}, "reading-the-evidence.md", "Trust"),
    ],
)
def test_what_to_read_about_a_finding(values: dict[str, object], page: str, heading: str) -> None:
    usual = {
        "lane_id": "a", "arrival_samples": 100.0, "uncertainty_samples": 0.1, "polarity": 1, "trust": 0.9,
        "trust_word": "strong", "sentence": "",
    }  # fmt: skip
    topic = topic_of(Finding(**{**usual, **values}), 48_000)  # type: ignore[arg-type]
    assert (topic.page, topic.heading) == (page, heading)
