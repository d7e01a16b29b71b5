"""How long the desk's panels keep the window waiting, with 32 lanes.

    python tests/benchmarks/panels.py [light|dark]

Prints, in ms of this process's own time, what building a panel, first showing a take in it, and then an
edit or another lane costs. The bar for anything on the window's thread is 100 ms.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
sys.path.insert(0, str(Path(__file__).parents[2]))

from msgspec.structs import replace
from PySide6.QtWidgets import QApplication, QWidget
from tests.support.invented_session import session

from lagline.desk.panels.closeup import CloseUpPanel
from lagline.desk.panels.evidence import EvidencePanel
from lagline.desk.panels.findings_panel import FindingsPanel
from lagline.desk.panels.tone import TonePanel
from lagline.desk.panels.versions_panel import VersionsPanel
from lagline.desk.style import dress
from lagline.session.edits import with_shift
from lagline.session.values import Session

LANES = 32
TURNS = 12


def large_session() -> Session:
    now = session()
    lanes, findings = [], []
    for number in range(LANES):
        lane = now.lanes[number % 3]
        finding = now.alignment.finding(lane.id) if now.alignment is not None else None
        assert finding is not None
        lanes.append(replace(lane, id=f"lane{number}", name=f"{lane.name} {number}"))
        findings.append(replace(finding, lane_id=f"lane{number}"))
    alignment = replace(now.alignment, anchor_id="lane0", findings=tuple(findings))
    return replace(now, lanes=tuple(lanes), alignment=alignment, anchor_id="lane0")


def milliseconds(application: QApplication, work: Callable[[], object]) -> float:
    """Of this process's own time, painting included: what else the machine does is left out."""
    start = time.process_time()
    work()
    application.processEvents()
    return 1000 * (time.process_time() - start)


def line(name: str, times: list[float]) -> str:
    later = sorted(times[1:]) or [0.0]
    median, worst = later[len(later) // 2], later[-1]
    return f"{name:34s} first {times[0]:6.1f}   then median {median:6.1f}   worst {worst:6.1f}"


def main(theme: str) -> None:
    application = QApplication([])
    dress(application, "dark" if theme == "dark" else "light")
    take = large_session()
    edits = [with_shift(take, "lane3", float(shift)) for shift in range(1, TURNS + 1)]
    for kind in (FindingsPanel, EvidencePanel, CloseUpPanel, TonePanel, VersionsPanel):
        start = time.process_time()
        panel: QWidget = kind()
        print(f"{kind.__name__:34s} built {1000 * (time.process_time() - start):6.1f}")
        panel.resize(400, 900)
        panel.show()
        application.processEvents()
        if isinstance(panel, EvidencePanel):
            panel.show_lane("lane3")
        print(
            line("  an edit", [milliseconds(application, partial(panel.show_session, now)) for now in edits])
        )
        if isinstance(panel, EvidencePanel):
            for tab in range(3):
                panel.tabs.setCurrentIndex(tab)
                times = [
                    milliseconds(application, partial(panel.show_lane, f"lane{turn + 1}"))
                    for turn in range(TURNS)
                ]
                print(line(f"  another lane, {panel.tabs.tabText(tab)}", times))
        panel.close()


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "light")
