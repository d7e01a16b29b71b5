"""The side panel: findings with their evidence, and what else helps to decide, one tab each."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QScrollArea, QVBoxLayout, QWidget

from lagline.session.values import Session

if TYPE_CHECKING:  # loading these loads the plots: not before the window is there
    from lagline.desk.side_tabs import SideTabs

LEAST_WIDTH, USUAL_WIDTH = 320, 480


class SidePanel(QWidget):
    """Builds its tabs when they are first needed, so that the window comes up at once."""

    built = Signal()  # connect the tabs now

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._tabs: SideTabs | None = None
        self._session: Session | None = None
        self._scroll = QScrollArea()  # in windows too low for a plot with what belongs to it
        self._scroll.setFrameShape(QScrollArea.Shape.NoFrame)
        self._scroll.setWidgetResizable(True)
        self._scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._scroll)
        self.setMinimumWidth(LEAST_WIDTH + self._scroll.verticalScrollBar().sizeHint().width())
        self.setAccessibleName("Side panel")

    @property
    def tabs(self) -> SideTabs:
        if self._tabs is None:
            from lagline.desk.side_tabs import SideTabs

            self._tabs = SideTabs(self)
            self._scroll.setWidget(self._tabs)
            self._tabs.show_session(self._session)
            self.built.emit()
        return self._tabs

    def build(self) -> None:
        """Have the tabs, if they are not there yet."""
        assert self.tabs is not None

    def show_session(self, session: Session | None) -> None:
        self._session = session
        if self._tabs is not None or session is not None:
            self.tabs.show_session(session)
