import os
import subprocess
import sys

import pytest
from PySide6.QtCore import QSizeF
from pytestqt.qtbot import QtBot
from tests.support import invented_session

from lagline.deliver.report import report_html
from lagline.desk.report_pdf import keep_together, paper_document, pdf_beside, report_pdf


def test_the_report_becomes_a_pdf_of_some_pages(qtbot: QtBot) -> None:
    session = invented_session.session()
    pdf = report_pdf(report_html(session, session.versions[0]))
    assert pdf.startswith(b"%PDF-1.")
    assert pdf.rstrip().endswith(b"%%EOF")
    assert 2 <= pdf.count(b"/Type /Page\n") <= 6
    assert pdf.count(b"/Subtype /Image") >= 6  # the drawings are in it


def test_a_process_beside_the_desk_makes_the_same_pages(qtbot: QtBot) -> None:
    session = invented_session.session()
    html = report_html(session, session.versions[0])
    pdf = pdf_beside(html)
    assert pdf.startswith(b"%PDF-1.")
    assert pdf.count(b"/Type /Page\n") == report_pdf(html).count(b"/Type /Page\n")


@pytest.mark.parametrize("lines", range(30, 60))
def test_headings_stay_with_what_they_head(qtbot: QtBot, lines: int) -> None:
    """However long what comes before is: heading, words and drawing stand on one page."""
    drawing = '<svg xmlns="http://www.w3.org/2000/svg" width="300" height="150"></svg>'
    before = "<p>words</p>" * lines
    document = paper_document(f"<body>{before}<h2>Heading</h2><p>About it.</p><p>{drawing}</p></body>")
    document.setPageSize(QSizeF(700.0, 1000.0))
    keep_together(document)
    layout, blocks = document.documentLayout(), []
    block = document.findBlockByNumber(lines)
    while block.isValid():
        blocks.append(layout.blockBoundingRect(block))
        block = block.next()
    assert document.findBlockByNumber(lines).text() == "Heading" and len(blocks) == 3
    assert int((blocks[0].top() + 1) // 1000) == int((blocks[-1].bottom() - 1) // 1000)


def test_the_command_line_lays_a_pdf_out_without_a_display() -> None:
    code = "import sys, lagline.__main__ as m; sys.stdout.buffer.write(m.LazyDesk().paper('<p>x</p>'))"
    without = {key: value for key, value in os.environ.items() if key not in ("QT_QPA_PLATFORM", "DISPLAY")}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, env=without)
    assert done.stdout.startswith(b"%PDF-1.")
