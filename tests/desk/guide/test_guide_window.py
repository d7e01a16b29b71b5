"""The guide's window, used as a reader does."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QUrl

from lagline.desk.guide.guide_window import GuideWindow, link_name
from lagline.desk.guide.topics import TOPICS, TRUST, guide_folder


@pytest.fixture
def window(qtbot):
    window = GuideWindow(guide_folder())
    qtbot.addWidget(window)
    window.show()
    qtbot.waitExposed(window)
    return window


def test_it_opens_on_the_contents_and_goes_back(window) -> None:
    assert window.browser.page == "README.md"
    window.browser.anchorClicked.emit(QUrl("drums.md"))
    assert window.browser.page == "drums.md"
    assert "every microphone hears every drum" in window.browser.toPlainText()
    window.back.click()
    assert window.browser.page == "README.md"
    window.onward.click()
    assert window.browser.page == "drums.md"


def test_a_link_to_a_heading_goes_there(window) -> None:
    window.show_topic(TRUST)
    window.browser.anchorClicked.emit(QUrl("README.md#commands-in-this-guide"))
    assert window.browser.page == "README.md"
    assert window.browser.textCursor().block().text() == "Commands in this guide"
    assert link_name("The 3:1 rule, again") == "the-31-rule-again"


@pytest.mark.parametrize("topic", TOPICS, ids=lambda topic: f"{topic.page} {topic.heading}".strip())
def test_every_topic_is_brought_to_the_top(window, topic) -> None:
    window.show_topic(topic)
    assert window.browser.page == topic.page
    if topic.heading:
        assert window.browser.textCursor().block().text() == topic.heading


def test_it_opens_within_the_screen(window) -> None:
    assert window.height() <= window.screen().availableSize().height()


def test_a_heading_is_scrolled_to(window) -> None:
    window.show_topic(TRUST)
    assert window.browser.verticalScrollBar().value() > 0
    assert not window.browser.go_to_heading("No such heading")


def test_pictures_fit_the_page(window) -> None:
    image = window.browser.loadResource(2, QUrl("pictures/opened.png"))
    assert 200 <= image.width() <= window.browser.viewport().width()


def test_web_links_leave_and_others_outside_the_guide_do_nothing(qtbot, window) -> None:
    window.browser.web_link.disconnect()
    with qtbot.waitSignal(window.browser.web_link):
        window.browser.anchorClicked.emit(QUrl("https://example.org/"))
    window.browser.anchorClicked.emit(QUrl("../../pyproject.toml"))
    assert window.browser.page == "README.md"
