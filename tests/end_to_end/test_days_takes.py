"""A day of takes at the desk: opened, measured, lined up, decided and delivered in few actions; every plant
is found, and none that was not planted.

The day is made with the demo generator (`tests/support/made_day.py`), by which all delays are known. Its
whole size, 40 takes of 3 minutes, is made and worked on by hand: `python -m tests.support.made_day FOLDER`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QSettings
from PySide6.QtWidgets import QApplication, QDialog
from pytestqt.qtbot import QtBot
from tests.support.desk_hands import click, press, wait_for
from tests.support.fake_desk import FakePlayer, FakeQuestions
from tests.support.made_day import CLIPPED, DROPPED, FOREIGN, MOVES, place_in, truth_cm, write_made_day

from lagline.day.against import differences, held_against, moves_over
from lagline.day.values import Day
from lagline.desk.day.list_dialog import ListDialog
from lagline.desk.day.takes_dialogs import DecideDialog, DeliverDialog
from lagline.desk.style import dress
from lagline.desk.window import DeskWindow
from lagline.session.storage import load

pytestmark = [pytest.mark.slow, pytest.mark.timeout(900)]
TAKES, SECONDS = 14, 10.0
MOST_ACTIONS = 15
PATIENCE_S = 600.0


class Person:
    """Counts what is done at the desk, and writes it down."""

    def __init__(self, desk: DeskWindow, questions: FakeQuestions) -> None:
        self.desk, self.questions = desk, questions
        self.did: list[str] = []

    def key(self, keys: str, what: str) -> None:
        self.did.append(f"{keys}: {what}")
        self.desk.activateWindow()
        press(self.desk, keys)

    def button(self, command_id: str) -> None:
        button = self.desk.parts.takes_panel.buttons[command_id]
        self.did.append(f"click {button.text()}")
        click(button)
        wait_for(lambda: not self.desk.parts.takes_work.is_busy, button.text(), PATIENCE_S)

    def will_choose(self, folder: Path) -> None:
        self.did.append(f"choose the folder {folder.name}")
        self.questions.folder_answer = folder

    def answer(self, dialog: QDialog) -> None:
        """What a dialog is left with: its first choice, Enter."""
        if isinstance(dialog, ListDialog):
            wait_for(dialog._make.isEnabled, "the preview")
            self.did.append("Enter: list the takes")
            click(dialog._make)
        elif isinstance(dialog, DecideDialog):
            self.did.append("Enter: decide")
            click(dialog.do)
        elif isinstance(dialog, DeliverDialog):
            self.did.append("click Choose …")
            dialog.folder_requested.emit()
            self.did.append("Enter: deliver")
            click(dialog.do)


@pytest.fixture
def person(qtbot: QtBot, qapp: QApplication, tmp_path: Path) -> Iterator[Person]:
    dress(qapp, "light")
    questions = FakeQuestions()
    settings = QSettings(str(tmp_path / "settings.ini"), QSettings.Format.IniFormat)
    desk = DeskWindow(FakePlayer(), settings, questions)
    desk.parts.settings.caution_read = True
    desk.resize(1280, 800)
    desk.show()
    qtbot.waitExposed(desk)
    one = Person(desk, questions)
    questions.with_dialog = one.answer
    yield one
    desk.close()
    desk.deleteLater()
    qapp.sendPostedEvents(None, 0)


def test_a_day_of_takes_in_few_actions(person: Person, tmp_path: Path) -> None:
    root, out = write_made_day(tmp_path / "day", TAKES, SECONDS), tmp_path / "out"
    person.will_choose(root)
    person.key("Ctrl+T", "a day's takes")
    wait_for(lambda: person.desk.parts.takes.day is not None, "the list")
    person.button("takes_measure")
    check_plants(day_of(person))

    person.button("takes_accept")
    assert {take.state for take in day_of(person).takes} == {"measured", "lined up"}
    person.button("takes_accept_moved")
    assert {take.state for take in day_of(person).takes} == {"lined up"}
    person.button("takes_decide")
    person.will_choose(out)
    person.button("takes_deliver")
    day = day_of(person)
    assert {take.state for take in day.takes} == {"delivered"}
    print("\n".join(person.did))
    assert len(person.did) < MOST_ACTIONS

    check_shifts(day)
    assert len(list(out.glob("Take */aligned/*.wav"))) == 6 * TAKES
    assert len((out / "day delay sheet.csv").read_text(encoding="utf-8-sig").splitlines()) == 1 + 6 * TAKES
    page = (out / "day report.html").read_text(encoding="utf-8")
    for lane, first, _ in MOVES:
        between = rf"between Take \d+ and Take {place_in(first, TAKES)}\."
        assert re.search(rf"{lane} moved \d+ cm \w+ {between}", page)


def day_of(person: Person) -> Day:
    day = person.desk.parts.takes.day
    assert day is not None
    assert [take.error for take in day.takes] == [""] * TAKES
    return day


def check_plants(day: Day) -> None:
    held = held_against(day)
    assert held is not None
    found = {(move.lane, move.after): move.cm for move in moves_over(day.takes, held)}
    expected = {(lane, f"Take {place_in(first, TAKES)}"): truth_cm()[lane] for lane, first, _ in MOVES}
    assert found.keys() == expected.keys()
    for key, cm in expected.items():
        assert found[key] == pytest.approx(cm, abs=2.0), key

    faulty = {(fault.split(".")[0], take.name) for take in day.takes for fault in take.faults}
    assert faulty == {(lane, f"Take {place_in(number, TAKES)}") for lane, number in (CLIPPED, DROPPED)}

    foreign = (FOREIGN[0], f"Take {place_in(FOREIGN[1], TAKES)}")
    odd = {
        (one.lane, take.name)
        for take in day.takes
        for one in differences(take, held)
        if one.word in ("unsure", "not found")
    }
    assert odd == {foreign}


def check_shifts(day: Day) -> None:
    """In the last take, where all three have moved, the lanes lie where the tape measure says."""
    session = load(day.takes[-1].session)
    version = session.current_version
    shift = {lane.name: version.move(lane.id).shift_samples for lane in session.lanes}
    first = load(day.takes[0].session)
    then = {lane.name: first.current_version.move(lane.id).shift_samples for lane in first.lanes}
    for lane, cm in truth_cm().items():
        nearer = (shift[lane] - shift["gallery"]) - (then[lane] - then["gallery"])
        assert nearer == pytest.approx(-cm / 100 / 340.8 * 48_000, abs=2.0), lane
