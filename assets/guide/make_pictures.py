"""Make the guide's pictures from the real desk: python assets/guide/make_pictures.py [--out DIR].

Needs lagline and its demo takes, no display and no sound device. Run it after a change of the desk.
The sheet of all windows, contact-sheet.png, is made by assets/screens/make_contact_sheet.py; README's film by
assets/screens/make_film.py.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable
from pathlib import Path

from msgspec.structs import replace
from PySide6.QtWidgets import QApplication, QCheckBox, QWidget

from lagline.analysis.options import AnalysisOptions
from lagline.combinations.cells import laid_out, parts_of
from lagline.desk.app import picture_of_desk
from lagline.desk.panels.board import BoardPanel
from lagline.desk.panels.evidence import EvidencePanel
from lagline.desk.panels.findings_panel import FindingsPanel
from lagline.desk.planner.window import PlannerWindow
from lagline.desk.style import dress
from lagline.desk.welcome.welcome_dialog import WelcomeDialog
from lagline.jobs.combine import measure_cells
from lagline.jobs.decide import measured_and_accepted
from lagline.jobs.demo import load_demo
from lagline.session.edits import with_version
from lagline.session.plan import Plan, PlannedLane
from lagline.session.values import ORIGINAL_ID, Session

PICTURES = Path(__file__).resolve().parent / "pictures"
DESK_PX = (1280, 800)
WELCOME_PX = (520, 400)
SHOWN_LANE = "pickup"
MATCH, OVER_TIME, COHERENCE = 0, 1, 2  # tabs of the evidence

CHAPEL_PLAN = Plan(
    name="Chapel",
    source_m=(3.6, 4.3, 0.95),
    lanes=(
        PlannedLane("near_left", (3.98, 4.62, 1.42)),
        PlannedLane("near_right", (3.90, 3.87, 1.28)),
        PlannedLane("far", (9.72, 4.75, 2.35), level_db=-3.0),
        PlannedLane("pickup", latency_ms=4.4, level_db=-6.0, polarity=-1),
    ),
    temperature_c=16.0,
)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=PICTURES, help="folder to write into", metavar="DIR")
    out = parser.parse_args().out
    out.mkdir(parents=True, exist_ok=True)
    os.environ["QT_QPA_PLATFORM"] = "offscreen"
    chapel, kit = (
        measured_and_accepted(load_demo(name), AnalysisOptions()).session for name in ("chapel", "kit")
    )
    picture_of_desk(load_demo("chapel"), out / "opened.png", *DESK_PX)
    picture_of_desk(chapel, out / "accepted.png", *DESK_PX)
    picture_of_desk(kit, out / "kit.png", *DESK_PX)
    application = QApplication.instance()
    assert isinstance(application, QApplication)
    dress(application, "light")
    grab(lambda: findings(chapel), out / "findings.png", 500, 460)
    for tab, name in ((MATCH, "match"), (OVER_TIME, "over-time"), (COHERENCE, "coherence")):
        grab(lambda tab=tab: evidence(chapel, tab), out / f"{name}.png", 640, 440)
    grab(lambda: board(chapel), out / "combinations.png", 640, 560)
    grab(planner, out / "planner.png", *DESK_PX)
    grab(lambda: WelcomeDialog("samples", None), out / "welcome.png", *WELCOME_PX)


def grab(make: Callable[[], QWidget], path: Path, width_px: int, height_px: int) -> None:
    """Show a widget off the screen and keep what it looks like."""
    widget = make()
    widget.resize(width_px, height_px)
    widget.show()
    application = QApplication.instance()
    assert application is not None
    for _ in range(20):  # layouts, then plots that follow them
        application.processEvents()
    widget.grab().save(str(path), "PNG")
    widget.hide()
    widget.deleteLater()


def findings(session: Session) -> QWidget:
    """As they are before anything is accepted, one lane chosen so that its sentence is seen."""
    panel = FindingsPanel()
    panel.show_session(with_version(session, replace(session.current_version, moves={})))
    panel.select_lane(session.lane_named("near_left").id)
    return panel


def evidence(session: Session, tab: int) -> QWidget:
    panel = EvidencePanel()
    panel.show_session(session)
    panel.show_lane(session.lane_named(SHOWN_LANE).id)
    panel.tabs.setCurrentIndex(tab)
    return panel


def board(session: Session) -> QWidget:
    """One of the near microphones, the far one and the pickup."""
    cells = laid_out(
        parts_of(session, [lane.id for lane in session.lanes if lane.name != "near_right"]),
        (ORIGINAL_ID, session.current_version_id),
    )
    panel = BoardPanel()
    panel.show_session(session)
    for box in panel.findChildren(QCheckBox):
        if box.text() == "near_right":
            box.setChecked(False)
    panel.show_facts(measure_cells(session, cells))
    panel.table.choose(cells[7])
    panel.show_heard(cells[7].id)
    return panel


def planner() -> QWidget:
    window = PlannerWindow()
    window.store.open(CHAPEL_PLAN)
    window.tabs.setCurrentWidget(window.pairs)
    window.view.choose("far")
    return window


if __name__ == "__main__":
    main()
