"""Pages of paper: cut between lines, nothing left out, what belongs together on one."""

from __future__ import annotations

import re
import shutil
import subprocess
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtCore import QBuffer, QIODevice
from PySide6.QtGui import QPdfWriter
from PySide6.QtPrintSupport import QPrinter
from pytestqt.qtbot import QtBot
from tests.support import invented_session
from tests.support.paper_text import assert_all_there, assert_nothing_lost, bare, page_text, paper_texts

from lagline.deliver.report import report_html
from lagline.deliver.sheet import delay_sheet
from lagline.deliver.sheet_text import sheet_html
from lagline.desk.paper_pages import Cut, pages, print_document
from lagline.desk.planner.figures import ARRIVAL_HEADINGS, PAIR_HEADINGS
from lagline.desk.planner.print_page import plan_document, print_plan
from lagline.desk.report_pdf import paper_document, report_pdf
from lagline.session.plan import Plan, PlannedLane

DRAWING = '<svg xmlns="http://www.w3.org/2000/svg" width="300" height="150"></svg>'


@pytest.mark.parametrize("lines", range(30, 60, 2))
def test_headings_stay_with_what_they_head(qtbot: QtBot, lines: int) -> None:
    """However long what comes before is: heading, words and drawing stand on one page."""
    page = f"<body>{'<p>words</p>' * lines}<h2>Heading</h2><p>About it.</p><p>{DRAWING}drawn</p></body>"
    pdf = report_pdf(page)
    assert_nothing_lost(page, pdf)
    assert sum("HeadingAboutit.drawn" in text for text in paper_texts(pdf)) == 1


@pytest.mark.parametrize("rows", [3, 90, 200])
def test_a_table_goes_on_under_its_headings(qtbot: QtBot, rows: int) -> None:
    body = "".join(f"<tr><td>row {n}</td><td>{n * n}</td></tr>" for n in range(rows))
    page = f"<body><p>Before</p><table><tr><th>lane</th><th>figure</th></tr>{body}</table><p>After</p></body>"
    pdf = report_pdf(page)
    assert_nothing_lost(page, pdf)
    sheets = paper_texts(pdf)
    assert len(sheets) > 1 or rows == 3
    assert all("lanefigure" in text for text in sheets)


@pytest.mark.parametrize(
    ("name", "lanes"),
    [("<&>", 2), ("Бас Ω" * 20, 5), ("Überdecke" * 30, 4), ("Overhead left, the large one " * 4, 24)],
)
def test_a_report_and_a_sheet_are_whole_on_paper(qtbot: QtBot, name: str, lanes: int) -> None:
    session = invented_session.large_session(name, lanes)
    version = session.versions[0]
    for page in (report_html(session, version), sheet_html(delay_sheet(session, version))):
        assert_nothing_lost(page, report_pdf(page))


def test_a_note_longer_than_a_page_is_whole(qtbot: QtBot) -> None:
    words = " ".join(f"word{n}" for n in range(2_000))
    page = f"<body><h2>Note</h2><p>{words}</p><ul><li>{words}</li><li>last</li></ul></body>"
    pdf = report_pdf(page)
    assert_nothing_lost(page, pdf)
    assert len(paper_texts(pdf)) <= 6


def test_a_row_higher_than_a_page_is_whole(qtbot: QtBot) -> None:
    """Its cells go on side by side, so the text has another order."""
    cells = [" ".join(f"{cell}{n}" for n in range(1_500)) for cell in "ab"]
    page = f"<body><table><tr><td>{cells[0]}</td><td>{cells[1]}</td></tr></table></body>"
    sheets = paper_texts(report_pdf(page))
    assert len(sheets) > 1
    assert sorted("".join(sheets)) == sorted(page_text(page))


def test_a_table_wider_than_the_paper_is_made_smaller(qtbot: QtBot) -> None:
    cells = "".join(f"<td>{n}&nbsp;samples</td>" for n in range(60))
    page = f"<body><table><tr>{cells}</tr></table></body>"
    document, buffer = paper_document(page), QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    writer = QPdfWriter(buffer)
    print_document(document, writer)
    assert_nothing_lost(page, bytes(buffer.data().data()))
    scale = writer.width() / document.size().width()
    assert scale <= writer.logicalDpiX() / 96  # all of it beside each other on the paper


def test_the_plan_is_whole_on_paper(qtbot: QtBot, tmp_path: Path) -> None:
    lanes = tuple(PlannedLane(f"Microphone {n}", (0.3 * n, 1.0 + 0.2 * n, 1.5)) for n in range(6))
    plan = Plan(name="Hall", lanes=lanes, notes="Doors shut. " * 80)
    printer = QPrinter(QPrinter.PrinterMode.HighResolution)
    printer.setOutputFormat(QPrinter.OutputFormat.PdfFormat)
    printer.setOutputFileName(str(tmp_path / "plan.pdf"))
    print_plan(plan, printer)
    headings = [bare("".join(row)) for row in (ARRIVAL_HEADINGS, PAIR_HEADINGS)]
    text = bare(plan_document(plan).toPlainText())
    assert_all_there(text, (tmp_path / "plan.pdf").read_bytes(), headings)


def test_the_text_is_the_pages_own() -> None:
    assert page_text("<title>no</title><p>a &amp; b</p><svg><text>no</text></svg>") == bare("a&b")


@given(
    st.lists(st.tuples(st.floats(1.0, 80.0), st.booleans()), min_size=1, max_size=60),
    st.floats(40.0, 400.0),
)
def test_every_strip_goes_on_paper_once(steps: list[tuple[float, bool]], height: float) -> None:
    places, y = [Cut(0.0)], 0.0
    for step, is_bad in steps:
        y += step
        places.append(Cut(y, is_bad))
    made = pages(places, height)
    slices = [one for page in made for one in page]
    assert slices[0][0] == 0.0 and slices[-1][1] == y
    assert all(above[1] == below[0] for above, below in pairwise(slices))
    lines = {(above.y, below.y) for above, below in pairwise(places)}
    for (top, bottom), *more in made:
        assert not more
        assert bottom - top <= height or (top, bottom) in lines  # but for a line taller than the page


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext (poppler-utils) is not installed")
def test_pdftotext_finds_every_paragraph(qtbot: QtBot, tmp_path: Path) -> None:
    session = invented_session.large_session("Überdecke" * 20, 6)
    page = report_html(session, session.versions[0])
    (tmp_path / "page.pdf").write_bytes(report_pdf(page))
    done = subprocess.run(["pdftotext", tmp_path / "page.pdf", "-"], capture_output=True, check=True)
    paper = bare(done.stdout.decode("utf-8"))
    paragraphs = [page_text(found) for found in re.findall(r"<(?:p|h\d|li)\b.*?</(?:p|h\d|li)>", page, re.S)]
    assert [text for text in paragraphs if not (text[:30] in paper and text[-30:] in paper)] == []
