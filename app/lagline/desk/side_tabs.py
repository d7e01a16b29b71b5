"""The tabs of the side panel."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QSplitter, QTabWidget, QWidget

from lagline.desk.panels.board import BoardPanel
from lagline.desk.panels.closeup import CloseUpPanel
from lagline.desk.panels.evidence import EvidencePanel
from lagline.desk.panels.findings_panel import FindingsPanel
from lagline.desk.panels.notes import NotesPanel
from lagline.desk.panels.tone import TonePanel
from lagline.desk.panels.versions_panel import VersionsPanel
from lagline.session.values import Session


class SideTabs(QTabWidget):
    """The panels on the right, each in a tab."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.findings = FindingsPanel()
        self.evidence = EvidencePanel()
        self.close_up = CloseUpPanel()
        both = QSplitter(Qt.Orientation.Vertical)
        both.addWidget(self.findings)
        both.addWidget(self.evidence)
        both.setStretchFactor(0, 3)
        both.setStretchFactor(1, 2)
        both.setSizes([350, 290])
        self._both = both
        both.setChildrenCollapsible(True)
        self.tone = TonePanel()
        self.versions = VersionsPanel()
        self.notes = NotesPanel()
        self.board = BoardPanel()
        decided = QSplitter(Qt.Orientation.Vertical)
        decided.addWidget(self.versions)
        decided.addWidget(self.notes)
        decided.setStretchFactor(0, 3)
        decided.setStretchFactor(1, 1)
        self.setDocumentMode(True)
        self.setAccessibleName("Side panel")
        for widget, name, tip in (
            (both, "Findings", "What was measured, and why to believe it (Ctrl+1)"),
            (self.close_up, "Close-up", "A few milliseconds around an attack, before and after (Ctrl+2)"),
            (self.tone, "Tone", "What the shifts do to the tone of the blend (Ctrl+3)"),
            (decided, "Versions", "Keep, compare and note what you decided (Ctrl+4)"),
            (self.board, "Combinations", "Every choice of lanes, as recorded and lined up (Ctrl+5)"),
        ):
            self.setTabToolTip(self.addTab(widget, name), tip)
        self._session: Session | None = None
        self._old: set[EvidencePanel | CloseUpPanel | TonePanel | VersionsPanel | NotesPanel | BoardPanel] = (
            set()
        )
        self.currentChanged.connect(self._bring_up_to_date)

    def show_session(self, session: Session | None) -> None:
        """The findings, which commands ask too, and what is in front are brought up to date at once; the
        others when they come to the front, for a drag must not wait for panels that nobody sees."""
        old, self._session = self._session, session
        self.findings.show_session(session)
        known = old.alignment if old is not None else None
        if session is not None and session.alignment is not None and session.alignment is not known:
            self._make_room()
        self._old = {self.evidence, self.close_up, self.tone, self.versions, self.notes, self.board}
        if session is None:
            for index in range(self.count()):
                self._bring_up_to_date(index)
            self.setCurrentIndex(0)
        self._bring_up_to_date(self.currentIndex())

    def _make_room(self) -> None:
        """Every line of the findings in view, as far as the evidence still has its least height."""
        whole = self._both.height() - self._both.handleWidth()
        findings = min(self.findings.wanted_height(), whole - self.evidence.minimumSizeHint().height())
        self._both.setSizes([max(findings, 1), max(whole - findings, 1)])

    def _bring_up_to_date(self, index: int) -> None:
        page = self.widget(index)
        if page is None:
            return
        for panel in [panel for panel in self._old if panel is page or page.isAncestorOf(panel)]:
            self._old.discard(panel)
            panel.show_session(self._session)

    def show_tab(self, index: int) -> None:
        if index < self.count():
            self.setCurrentIndex(index)
