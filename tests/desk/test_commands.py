from collections import Counter

from PySide6.QtGui import QKeySequence
from PySide6.QtWidgets import QApplication

from lagline.desk.commands import COMMANDS, MENUS
from lagline.desk.window import DeskWindow


def test_ids_are_unique_and_menus_known() -> None:
    assert not [name for name, count in Counter(one.id for one in COMMANDS).items() if count > 1]
    assert {one.menu for one in COMMANDS} <= set(MENUS)


def test_no_key_does_two_things(qapp: QApplication) -> None:
    keys = Counter(QKeySequence(key).toString() for one in COMMANDS for key in one.keys)
    assert not [key for key, count in keys.items() if count > 1]
    assert all(keys), "a key that Qt does not know"


def test_each_menu_opens_by_a_letter_of_its_own(window: DeskWindow) -> None:
    letters = [action.text().partition("&")[2][0].casefold() for action in window.menuBar().actions()]
    assert len(letters) == len(MENUS) and len(set(letters)) == len(letters)
