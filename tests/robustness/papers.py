"""The report and the delay sheet of every real take on paper, against their pages, letter for letter.

Run from the repository: python -m tests.robustness.papers [TAKE ...]
The recordings belong in ../shared/real-takes. Exits with 1 when a paper lacks something.
"""

from __future__ import annotations

import os
import sys

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtGui import QGuiApplication
from tests.support.paper_text import assert_nothing_lost, paper_texts
from tests.support.real_takes import ROOT

from lagline.analysis.options import AnalysisOptions
from lagline.deliver.sheet import delay_sheet
from lagline.deliver.sheet_text import sheet_html
from lagline.desk.report_pdf import report_pdf
from lagline.jobs.decide import measured_and_accepted
from lagline.jobs.open_take import open_take
from lagline.jobs.write_report import report_page


def main(names: list[str]) -> int:
    takes = [ROOT / name for name in names] or sorted(ROOT.iterdir())
    takes = [take for take in takes if len(list(take.glob("*.flac"))) > 1]
    if not takes:
        print(f"no takes in {ROOT}")
        return 1
    application, short = QGuiApplication.instance() or QGuiApplication(["papers"]), 0
    for take in takes:
        opened = open_take(sorted(take.glob("*.flac")))
        session = measured_and_accepted(opened.session, AnalysisOptions()).session
        version = session.current_version
        pages = {"report": report_page(session, version), "sheet": sheet_html(delay_sheet(session, version))}
        for name, page in pages.items():
            pdf = report_pdf(page)
            try:
                assert_nothing_lost(page, pdf)
            except AssertionError as error:
                short += 1
                print(f"{take.name}, {name}: {error}")
            else:
                print(
                    f"{take.name}, {name}: {len(session.lanes)} lanes, {len(paper_texts(pdf))} sheets, whole"
                )
    del application  # it had to last until here
    print(f"{len(takes)} takes, {short} papers fall short")
    return 1 if short else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
