"""Every standard and paper that the code names stands on the guide's page of sources."""

from __future__ import annotations

import io
import re
import tokenize
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "assets" / "guide" / "sources.md").read_text("utf-8")
FOLDERS = ("app/lagline", "demo_sessions", "tests/unit", "tests/outside", "tests/desk", "tests/benchmarks")
STANDARD = re.compile(
    r"BS\.\d{4}|Tech \d{4}|\bISO \d+(?:-\d)?|\bIEC \d+|\bRFC \d{4}|AES\d+(?:-\d)?|WCAG 2\.\d|98-126|H\.870"
    r"|EBU R ?\d+"
)
YEAR = re.compile(r"\b(?:19|20)\d\d\b")
# What tells a year of a paper from any other number: a journal or a book, or a name just before it.
PAPER = re.compile(
    r"(?:IEEE|Trans\.|Acoust|JASA|Magazine|Nature|Zisin|Communications|SRON|LATIN|ISCAS|AES \d|\", ).{0,70}$"
    r"|[A-Z][a-z]+(?: et al\.)?,? \(?$"
)
NO_PAPER = re.compile(
    r"(?:ISO [\d-]+:|IEC [\d-]+:|(?:Jan|Feb|Mar|Apr|May|June?|July?|Aug|Sept?|Oct|Nov|Dec)[a-z]* )$"
)
SURNAME = re.compile(r"[A-Z][a-z]+[A-Z]?[a-z]+")


def words_of(path: Path) -> Iterator[str]:
    """Comments (those on lines that follow each other together) and texts of a source file."""
    comments: list[str] = []
    last = 0
    for token in tokenize.generate_tokens(io.StringIO(path.read_text("utf-8")).readline):
        if token.type == tokenize.COMMENT:
            if token.start[0] != last + 1:
                yield " ".join(comments)
                comments = []
            comments.append(token.string.lstrip("# "))
            last = token.start[0]
        elif token.type == tokenize.STRING:
            yield re.sub(r"\s+", " ", token.string)
    yield " ".join(comments)


def standards(text: str) -> set[str]:
    return {re.sub(r"EBU R ?(\d)", r"EBU R \1", found) for found in STANDARD.findall(text)}


def papers(text: str) -> Iterator[tuple[str, str]]:
    """A year and the words before it."""
    for year in YEAR.finditer(text):
        before = text[max(0, year.start() - 260) : year.start()]
        if PAPER.search(before) and not NO_PAPER.search(before):
            yield year.group(), before


def is_named(year: str, before: str, page: str = PAGE) -> bool:
    """Whether a row of the page has that year and a name that stands before it."""
    names = set(SURNAME.findall(before))
    return any(
        year in row and names & set(SURNAME.findall(row.partition('"')[0])) for row in page.splitlines()
    )


SOURCES = sorted(
    path for folder in FOLDERS for path in (ROOT / folder).rglob("*.py") if path != Path(__file__)
)


def test_every_standard_stands_on_the_page() -> None:
    missing = {
        f"{path.relative_to(ROOT)}: {name}"
        for path in SOURCES
        for text in words_of(path)
        for name in standards(text)
        if name not in PAGE
    }
    assert missing == set(), "add a row to assets/guide/sources.md"


def test_every_paper_stands_on_the_page() -> None:
    missing = {
        f"{path.relative_to(ROOT)}: ...{before[-60:]}{year}"
        for path in SOURCES
        for text in words_of(path)
        for year, before in papers(text)
        if not is_named(year, before)
    }
    assert missing == set(), "add a row to assets/guide/sources.md"


def test_every_common_practice_of_the_program_stands_on_the_page() -> None:
    package = ROOT / "app" / "lagline"
    for path in sorted(package.rglob("*.py")):
        if any("common practice" in text for text in words_of(path)):
            assert f"`{path.relative_to(package).as_posix()}`" in PAGE, "add a row to assets/guide/sources.md"


def test_a_planted_citation_is_found(tmp_path: Path) -> None:
    source = tmp_path / "planted.py"
    source.write_text(
        '"""After A. Nobody, "On nothing", J. Acoust. Soc. Am. 12(3),\n1987, 1-2; and ISO 99999."""\n'
        "# and EBU Tech\n# 9876, from memory\n"
    )
    texts = list(words_of(source))
    assert {name for text in texts for name in standards(text)} == {"ISO 99999", "Tech 9876"}
    ((year, before),) = [paper for text in texts for paper in papers(text)]
    assert year == "1987" and not is_named(year, before)
    assert is_named(year, before, '| A. Nobody, "On nothing", 1987 | nothing |')


@pytest.mark.parametrize("page", ["README.md", "accuracy.md", "formulas.md"])
def test_the_guide_leads_there(page: str) -> None:
    assert "(sources.md" in (ROOT / "assets" / "guide" / page).read_text("utf-8")


def test_the_report_leads_there() -> None:
    base = (ROOT / "app" / "lagline" / "deliver" / "pages" / "base.html.j2").read_text("utf-8")
    assert "Sources and credits" in base


def test_recordings_that_ask_for_it_are_credited() -> None:
    """Every licence and maker of the recordings beside the checkout."""
    shared = ROOT.parent / "shared" / "real-takes" / "MORE-TAKES.md"
    if not shared.is_file():
        pytest.skip(f"the real recordings are not here: {shared.parent} is absent")
    credits = PAGE.partition("## Recordings")[2]
    rows = [line.split("|") for line in shared.read_text("utf-8").splitlines() if line.count("|") >= 8]
    makers = {row[6].strip() for row in rows[2:]}
    assert makers
    for maker in makers:
        name = next(word for word in re.findall(r"[A-Z]\w+", maker))
        assert name in credits, maker
