"""The evidence behind a finding, in four plots that act."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import QTabWidget, QVBoxLayout, QWidget

from lagline.desk.amounts import Unit
from lagline.desk.panels.coherence_plot import CoherencePlot
from lagline.desk.panels.match_plot import MatchPlot
from lagline.desk.panels.themed import Themed, plain_label, shown
from lagline.desk.panels.time_plot import TimePlot
from lagline.desk.panels.tone_change_plot import ToneChangePlot
from lagline.desk.theme import GAP
from lagline.session.findings import Finding
from lagline.session.values import Session

ANCHOR_TEXT = "The other lanes are measured against it. Choose one of them to see how it fits."


class EvidencePanel(Themed):
    """Match curve, arrival over time, coherence and phase, tone change, for one chosen lane.

    Receives: `show_session(session or None)`, `show_lane(lane_id)`, `show_unit(unit)`; the tone plot
    of the blend is `panel.tone` (`show_report`).

    Signals
    -------
    place_requested(str lane_id, float arrival_samples) : put the lane so that its shift is -arrival_samples.
    passage_requested(float time_s) : go to this session time.
    passage_hovered(float time_s or None) : the pointer is on the window centred there, or on none.
    """

    place_requested = Signal(str, float)
    passage_requested = Signal(float)
    passage_hovered = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Evidence")
        self._session: Session | None = None
        self._lane_id: str | None = None
        self._coherence_of: Finding | None = None
        self._title = plain_label()
        self._title.setProperty("heading", True)
        self.match = MatchPlot()
        self.match.place_requested.connect(self.place_requested)
        self.over_time = TimePlot()
        self.over_time.passage_requested.connect(self.passage_requested)
        self.over_time.passage_hovered.connect(self.passage_hovered)
        self.coherence = CoherencePlot()
        self.tone = ToneChangePlot()
        self.tabs = QTabWidget()
        self.tabs.setAccessibleName("Evidence plots")
        self.tabs.setDocumentMode(True)
        self.tabs.tabBar().setExpanding(True)
        for pane, name, tip in (
            (self.match, "Match", "How well the lane fits the anchor at every arrival"),
            (self.over_time, "Over time", "Arrival in each passage of the take"),
            (self.coherence, "Coherence", "Coherence and phase against the anchor"),
            (self.tone, "Timbre", "What the shifts do to the tone of the blend"),
        ):
            self.tabs.setTabToolTip(self.tabs.addTab(pane, name), tip)
        self.tabs.currentChanged.connect(self._refresh)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, GAP, 0, 0)
        column.setSpacing(GAP)
        column.addWidget(self._title)
        column.addWidget(self.tabs, 1)
        self._title.setContentsMargins(2 * GAP, 0, 2 * GAP, 0)
        self.show_session(None)
        self.follow_theme()

    def show_session(self, session: Session | None) -> None:
        """Show the evidence for the chosen lane in this session; None clears the plots."""
        self._session = session
        if session is None:
            self.tabs.setCurrentIndex(0)
        self._refresh()

    def show_lane(self, lane_id: str | None) -> None:
        """Choose the lane whose evidence is shown."""
        self._lane_id = lane_id
        self._refresh()

    def show_unit(self, unit: Unit) -> None:
        """Distances in feet and inches for "ft" and "in", else in metres; from the next read-out on."""
        self.match.unit = unit

    @property
    def lane_id(self) -> str | None:
        """The lane whose evidence is shown; None without one."""
        return self._lane_id

    def _refresh(self) -> None:
        """Show what is in front; what is hidden is drawn when it comes to the front."""
        session = self._session
        lane = None
        if session is not None:
            lane = next((lane for lane in session.lanes if lane.id == self._lane_id), None)
        shown(self._title, self._title_text(session, lane.name if lane is not None else None))
        pane = self.tabs.currentWidget()
        if not self.isVisible():
            return
        alignment = session.alignment if session is not None else None
        if isinstance(pane, (MatchPlot, TimePlot, CoherencePlot)):
            if alignment is not None and lane is not None and lane.id == alignment.anchor_id:
                pane.explain_empty(f"{lane.name} is the anchor", ANCHOR_TEXT)
            else:
                pane.explain_empty()
        finding = alignment.finding(lane.id) if alignment is not None and lane is not None else None
        if isinstance(pane, CoherencePlot):
            if finding is not self._coherence_of or finding is None:
                pane.show_finding(finding)
                self._coherence_of = finding
        elif isinstance(pane, (MatchPlot, TimePlot)):
            pane.show_finding(session, finding)

    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        self._refresh()

    def _title_text(self, session: Session | None, name: str | None) -> str:
        if name is None or session is None:
            return "Evidence: choose a lane among the findings"
        anchor = session.alignment.anchor_id if session.alignment is not None else session.anchor_id
        against = next((lane.name for lane in session.lanes if lane.id == anchor), None)
        if against == name:
            return f"{name} is the anchor: choose another lane"
        return f"{name} against {against}" if against is not None else name
