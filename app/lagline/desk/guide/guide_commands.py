"""Opens the guide where help is needed: at its contents, or at the page about a lane's finding."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject

from lagline.desk.actions import Handler
from lagline.desk.guide.topics import CONTENTS_TOPIC, FIRST_TAKE, Topic, guide_folder, topic_of
from lagline.desk.parts import DeskParts

if TYPE_CHECKING:  # loads when it is first opened
    from lagline.desk.guide.guide_window import GuideWindow

NO_GUIDE = "The guide is not installed with this copy of Lagline. Install it anew from its folder or wheel."


class GuideCommands(QObject):
    def __init__(self, parts: DeskParts) -> None:
        super().__init__(parts.window)
        self._parts = parts
        self.window: GuideWindow | None = None

    def handlers(self) -> dict[str, Handler]:
        return {"guide": self.show_contents, "guide_finding": self.read_about_chosen}

    def show_contents(self) -> None:
        self.show_topic(CONTENTS_TOPIC)

    def read_about_chosen(self) -> None:
        """About the finding of the lane with the cursor; before a measurement: how to make one."""
        lane_id = self._parts.lanes.stack.selection.current
        if lane_id is None:
            self.show_topic(FIRST_TAKE)
        else:
            self.read_about(lane_id)

    def read_about(self, lane_id: str) -> None:
        session = self._parts.store.session
        alignment = session.alignment if session is not None else None
        finding = alignment.finding(lane_id) if alignment is not None else None
        if session is None or finding is None:
            self.show_topic(FIRST_TAKE)
        else:
            self.show_topic(topic_of(finding, session.rate_hz))

    def show_topic(self, topic: Topic) -> None:
        folder = guide_folder()
        if folder is None:
            self._parts.messages.show_problem(NO_GUIDE)
            return
        if self.window is None:
            from lagline.desk.guide.guide_window import GuideWindow

            self.window = GuideWindow(folder)
        self.window.show()
        self.window.show_topic(topic)
        self.window.raise_()
        self.window.activateWindow()

    def close(self) -> None:
        if self.window is not None:
            self.window.close()
            self.window.deleteLater()
            self.window = None
