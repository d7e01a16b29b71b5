from pytestqt.qtbot import QtBot
from tests.support import invented_session

from lagline.deliver.report import report_html
from lagline.desk.report_pdf import report_pdf


def test_the_report_becomes_a_pdf_of_some_pages(qtbot: QtBot) -> None:
    session = invented_session.session()
    pdf = report_pdf(report_html(session, session.versions[0]))
    assert pdf.startswith(b"%PDF-1.")
    assert pdf.rstrip().endswith(b"%%EOF")
    assert 2 <= pdf.count(b"/Type /Page\n") <= 6
    assert pdf.count(b"/Subtype /Image") >= 6  # the drawings are in it
