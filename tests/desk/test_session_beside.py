"""Recordings beside which their session lies: it is offered, and never written over by mistake."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace
from pytestqt.qtbot import QtBot
from tests.support.fake_desk import FakeQuestions

from lagline.desk import proposed_place as place_module
from lagline.desk.proposed_place import proposed_place
from lagline.desk.window import DeskWindow
from lagline.jobs.demo import load_demo
from lagline.session.storage import load, save
from lagline.session.values import Session

ASKED = "yes: A session of these recordings"


@pytest.fixture
def saved(take: Session, tmp_path: Path) -> Path:
    file = tmp_path / "take" / "take.lagline"
    save(replace(take, name="take", notes="the second verse"), file)
    return file


def open_folder(window: DeskWindow, folder: Path, qtbot: QtBot) -> Session:
    with qtbot.waitSignal(window.parts.files.opened, timeout=10_000):
        window.open_paths([folder])
    session = window.parts.store.session
    assert session is not None
    return session


def test_it_is_opened(window: DeskWindow, saved: Path, questions: FakeQuestions, qtbot: QtBot) -> None:
    assert open_folder(window, saved.parent, qtbot).notes == "the second verse"
    assert questions.asked == [ASKED]
    assert window.parts.store.path == saved
    assert "given up" not in window.parts.messages.text


def test_started_anew_it_is_not_the_name_proposed(
    window: DeskWindow, saved: Path, questions: FakeQuestions, qtbot: QtBot
) -> None:
    questions.yes_answer = False
    assert open_folder(window, saved.parent, qtbot).notes == ""
    assert window.parts.store.path is None
    window.parts.keeping.save()
    assert questions.suggested == [saved.with_name("take 2.lagline")]
    assert load(saved).notes == "the second verse"


def test_where_nobody_can_be_asked_it_is_opened_and_told(
    window: DeskWindow, saved: Path, questions: FakeQuestions, qtbot: QtBot
) -> None:
    questions.is_there = False
    assert open_folder(window, saved.parent, qtbot).notes == "the second verse"
    assert questions.asked == []
    assert "take.lagline, saved beside these recordings, was opened" in window.parts.messages.text


def test_without_one_nothing_is_asked(
    window: DeskWindow, take: Session, tmp_path: Path, questions: FakeQuestions, qtbot: QtBot
) -> None:
    open_folder(window, tmp_path / "take", qtbot)
    assert questions.asked == []


class TestProposedPlace:
    def test_the_demo_is_saved_with_the_person_s_own(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(place_module, "documents", lambda: tmp_path)
        demo = load_demo("chapel")
        assert proposed_place(demo, None) == tmp_path / f"{demo.name}.lagline"

    def test_saved_again_under_its_own_name(self, take: Session, saved: Path) -> None:
        named = replace(take, name="take")
        assert proposed_place(named, saved) == saved
        assert proposed_place(named, saved.with_name("other.lagline")) == saved.with_name("take 2.lagline")
