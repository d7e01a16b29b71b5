"""A window to read the guide, or another folder of pages, in."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from PySide6.QtCore import QSize, Qt, QUrl, Signal
from PySide6.QtGui import QAction, QDesktopServices, QImage, QKeySequence, QTextCursor, QTextDocument
from PySide6.QtWidgets import QHBoxLayout, QMainWindow, QPushButton, QTextBrowser, QVBoxLayout, QWidget

from lagline.desk.guide.topics import CONTENTS_TOPIC, Topic
from lagline.desk.screen_room import fitted
from lagline.desk.theme import GAP, MARGIN, PAD

PAGE_WIDTH_PX = 760


def link_name(heading: str) -> str:
    """What stands behind # in a link to a heading, as the usual Markdown viewers have it."""
    kept = (sign for sign in heading.lower() if sign.isalnum() or sign in " -_")
    return "".join(kept).replace(" ", "-")


class GuideBrowser(QTextBrowser):
    """Shows Markdown pages of one folder, pictures made to fit. Links to the web are told, not followed."""

    web_link = Signal(QUrl)

    def __init__(self, folder: Path, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._folder = folder
        self.setOpenLinks(False)
        self.document().setDocumentMargin(2 * MARGIN)
        self.setAccessibleName("Page")
        self.anchorClicked.connect(self._follow)

    def show_topic(self, topic: Topic) -> None:
        """Go to a page and heading of the guide."""
        self.setSource(QUrl.fromLocalFile(str(self._folder / topic.page)))
        if topic.heading:
            self.go_to_heading(topic.heading)

    @property
    def page(self) -> str:
        """File name of the page that is shown."""
        return Path(self.source().toLocalFile()).name

    def go_to_heading(self, heading: str) -> bool:
        """Bring a heading to the top of the view, by its text or as links name it; False without one."""
        block = self.document().begin()
        while block.isValid():
            if block.blockFormat().headingLevel() and heading in (block.text(), link_name(block.text())):
                end = QTextCursor(self.document())
                end.movePosition(QTextCursor.MoveOperation.End)
                self.setTextCursor(end)  # so that the heading is then scrolled up to, not just into view
                self.setTextCursor(QTextCursor(block))
                return True
            block = block.next()
        return False

    def loadResource(self, kind: int, name: QUrl | str) -> Any:
        found = super().loadResource(kind, name)
        if kind != QTextDocument.ResourceType.ImageResource.value:
            return found
        image = QImage(self.source().resolved(QUrl(name)).toLocalFile())
        room = max(self.viewport().width() - 6 * MARGIN, 200)
        if image.width() <= room:
            return image
        return image.scaledToWidth(room, Qt.TransformationMode.SmoothTransformation)

    def _follow(self, link: QUrl) -> None:
        if link.scheme() in ("http", "https"):
            self.web_link.emit(link)
            return
        target = self.source().resolved(link)
        heading = target.fragment()
        target.setFragment("")
        if Path(target.toLocalFile()).resolve().is_relative_to(self._folder.resolve()):
            self.setSource(target)
            if heading:
                self.go_to_heading(heading)


class GuideWindow(QMainWindow):
    """The pages of one folder, with a way back and the contents a click away."""

    def __init__(self, folder: Path, title: str = "Guide", parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(title)
        self.browser = GuideBrowser(folder)
        self.browser.web_link.connect(QDesktopServices.openUrl)
        line = QHBoxLayout()
        line.setSpacing(GAP)
        self.back = self._button("Back", self.browser.backward, QKeySequence.StandardKey.Back)
        self.onward = self._button("Forward", self.browser.forward, QKeySequence.StandardKey.Forward)
        contents = self._button("Contents", self._show_contents, None)
        for button in (self.back, self.onward, contents):
            line.addWidget(button)
        line.addStretch(1)
        self.browser.backwardAvailable.connect(self.back.setEnabled)
        self.browser.forwardAvailable.connect(self.onward.setEnabled)
        self.back.setEnabled(False)
        self.onward.setEnabled(False)
        close = QAction("Close", self)
        close.setShortcuts([QKeySequence(QKeySequence.StandardKey.Close), QKeySequence("Esc")])
        close.triggered.connect(self.close)
        self.addAction(close)
        body = QWidget()
        column = QVBoxLayout(body)
        column.setContentsMargins(PAD, PAD, PAD, PAD)
        column.setSpacing(PAD)
        column.addLayout(line)
        column.addWidget(self.browser, 1)
        self.setCentralWidget(body)
        self.resize(fitted(self, QSize(PAGE_WIDTH_PX + 8 * PAD, 820)))
        self.show_topic(CONTENTS_TOPIC)

    def show_topic(self, topic: Topic) -> None:
        """Go to a page and heading of the guide."""
        self.browser.show_topic(topic)

    def _show_contents(self) -> None:
        self.show_topic(CONTENTS_TOPIC)

    def _button(self, text: str, slot: Any, key: QKeySequence.StandardKey | None) -> QPushButton:
        button = QPushButton(text)
        button.clicked.connect(lambda _checked=False: slot())
        if key is not None:
            button.setShortcut(QKeySequence(key))
            button.setToolTip(
                f"{text} ({QKeySequence(key).toString(QKeySequence.SequenceFormat.NativeText)})"
            )
        return button
