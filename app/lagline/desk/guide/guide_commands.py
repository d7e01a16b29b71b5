"""Opens the guide where help is needed, and says what Lagline is and under which licences its parts are."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QMessageBox

from lagline import __version__
from lagline.desk.actions import Handler
from lagline.desk.guide.topics import (
    CONTENTS_TOPIC,
    FIRST_TAKE,
    Topic,
    guide_folder,
    licences_folder,
    topic_of,
)
from lagline.desk.parts import DeskParts

if TYPE_CHECKING:  # loads when it is first opened
    from lagline.desk.guide.guide_window import GuideWindow

NO_GUIDE = "The guide is not installed with this copy of Lagline. Install it anew from its folder or wheel."
NO_LICENCES = (
    "The licences are not installed with this copy of Lagline. Install it anew from its folder or wheel."
)
ABOUT = (
    "Lines up several recordings of one performance: measure, see, hear, deliver.\n\n"
    "Free software under the MIT licence. Its windows are drawn by Qt, under the LGPL, which you may replace "
    "by a build of your own; Licences says how, and what else Lagline is made of."
)


class GuideCommands(QObject):
    """Opens the guide and the licences at the page that is asked for."""

    def __init__(self, parts: DeskParts) -> None:
        super().__init__(parts.window)
        self._parts = parts
        self.window: GuideWindow | None = None
        self.licences: GuideWindow | None = None

    def handlers(self) -> dict[str, Handler]:
        """What each of these commands does, by its id."""
        return {
            "guide": self.show_contents,
            "guide_finding": self.read_about_chosen,
            "licences": self.show_licences,
            "about": self.say_what_this_is,
        }

    def show_contents(self) -> None:
        """Open the guide at its contents."""
        self.show_topic(CONTENTS_TOPIC)

    def read_about_chosen(self) -> None:
        """About the finding of the lane with the cursor; before a measurement: how to make one."""
        lane_id = self._parts.lanes.stack.selection.current
        if lane_id is None:
            self.show_topic(FIRST_TAKE)
        else:
            self.read_about(lane_id)

    def read_about(self, lane_id: str) -> None:
        """Open the guide at what explains this lane's finding."""
        session = self._parts.store.session
        alignment = session.alignment if session is not None else None
        finding = alignment.finding(lane_id) if alignment is not None else None
        if session is None or finding is None:
            self.show_topic(FIRST_TAKE)
        else:
            self.show_topic(topic_of(finding, session.rate_hz))

    def show_topic(self, topic: Topic) -> None:
        """Open the guide at a page and heading, or say that it isn't installed."""
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

    def say_what_this_is(self) -> None:
        """Show the version and what Lagline is, with a way to the licences."""
        box = QMessageBox(self._parts.window)
        box.setWindowTitle("About Lagline")
        box.setText(f"Lagline {__version__}")
        box.setInformativeText(ABOUT)
        licences = box.addButton("Licences", QMessageBox.ButtonRole.ActionRole)
        box.addButton(QMessageBox.StandardButton.Close)
        licences.clicked.connect(self.show_licences)
        self._parts.questions.show(box)

    def show_licences(self) -> None:
        """Open the licences of all that Lagline is made of."""
        folder = licences_folder()
        if folder is None:
            self._parts.messages.show_problem(NO_LICENCES)
            return
        if self.licences is None:
            from lagline.desk.guide.guide_window import GuideWindow

            self.licences = GuideWindow(folder, "Licences")
        self.licences.show()
        self.licences.raise_()
        self.licences.activateWindow()

    def close(self) -> None:
        """Close the windows that were opened from here."""
        for window in (self.window, self.licences):
            if window is not None:
                window.close()
                window.deleteLater()
        self.window = self.licences = None
