import os
import subprocess
import sys

from pytestqt.qtbot import QtBot
from tests.support import invented_session

from lagline.deliver.report import report_html
from lagline.desk.report_pdf import pdf_beside, report_pdf


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


def test_the_command_line_lays_a_pdf_out_without_a_display() -> None:
    code = "import sys, lagline.__main__ as m; sys.stdout.buffer.write(m.LazyDesk().paper('<p>x</p>'))"
    without = {key: value for key, value in os.environ.items() if key not in ("QT_QPA_PLATFORM", "DISPLAY")}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True, env=without)
    assert done.stdout.startswith(b"%PDF-1.")
