"""Every command is found by what people call it.

The words are how engineers speak of such work, written down with the commands at hand: they show that what is
listed is found, not how much of what people type is. Those that nothing here does must lead somewhere too.
"""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from lagline.desk.command_words import ALSO, matching, suggestions
from lagline.desk.commands import COMMANDS
from lagline.desk.dialogs.command_search import CommandSearch

# What is typed, and a command that it must find.
WORDS = {
    "align": "measure", "line up": "accept", "delay": "later", "latency": "measure", "offset": "type_shift",
    "time": "later", "sync": "measure", "synchronize": "measure", "phase": "polarity", "invert": "polarity",
    "flip": "polarity", "reverse": "polarity", "nudge": "later", "move": "later", "shift": "type_shift",
    "slide": "later", "push": "earlier", "pull": "later", "earlier": "earlier", "later": "later",
    "snap": "magnet", "magnet": "magnet", "grid": "magnet", "quantize": "magnet", "zoom": "zoom_in",
    "zoom out": "zoom_out", "magnify": "zoom_in", "bigger": "zoom_in", "fit": "fit", "overview": "fit",
    "fullscreen": "full_screen", "undo": "undo", "redo": "redo", "revert": "put_back", "reset": "put_back",
    "restore": "put_back", "back": "undo", "open": "open", "load": "open", "import": "add", "file": "open",
    "folder": "open_folder", "add track": "add", "new": "version_new", "save": "save", "save as": "save_as",
    "export": "export", "bounce": "export", "render": "export", "print": "export", "mixdown": "export",
    "stems": "export", "deliver": "export", "sheet": "sheet", "report": "export", "copy": "copy_sheet",
    "clipboard": "copy_sheet", "preferences": "settings", "settings": "settings", "options": "settings",
    "theme": "settings", "dark": "settings", "light mode": None, "colours": "settings", "volume": "louder",
    "level": "type_gain", "louder": "louder", "quieter": "quieter", "gain": "type_gain", "fader": "type_gain",
    "loudness": "equal", "normalize": "equal", "match level": "equal", "monitor": "louder",
    "headphones": "output", "speakers": "output", "output": "output", "device": "output",
    "sound card": "output", "interface": "output", "buffer": "output", "play": "play", "stop": "play",
    "pause": "play", "start": "play", "transport": "play", "rewind": "to_start", "beginning": "to_start",
    "first": "to_start", "loop": "loop", "repeat": "loop", "cycle": "loop", "region": "loop",
    "selection": "loop_view", "in point": "loop_start", "out point": "loop_stop", "marker": "loop_start",
    "attack": "next_attack", "transient": "next_attack", "onset": "next_attack", "hit": "next_attack",
    "next": "next_attack", "previous": "last_attack", "compare": "toggle", "a/b": "toggle", "ab": "toggle",
    "before": "toggle", "after": "toggle", "toggle": "toggle", "bypass": "toggle", "dry": "hear_original",
    "original": "hear_original", "version": "version_new", "snapshot": "version_new",
    "duplicate": "version_copy", "rename": "rename", "delete": "remove", "remove": "remove", "mute": "mute",
    "solo": "solo", "mono": "mono", "null": "difference", "subtract": "difference",
    "difference": "difference", "blind": "trial", "abx": "trial", "listening test": "trial",
    "analyze": "measure", "analyse": "measure", "detect": "measure", "auto": "measure",
    "calculate": "measure", "accept": "accept", "apply": "accept", "confirm": "accept",
    "alternative": "runner_up", "try": "runner_up", "template": "apply_setup", "preset": "apply_setup",
    "batch": "apply_setup", "distance": "plan", "tape measure": "plan", "microphone": "plan",
    "units": "unit", "feet": "unit", "milliseconds": "unit", "health": "health", "clipping": "health",
    "hum": "health", "file info": "health", "help": "guide", "manual": "guide", "shortcuts": "keys",
    "hotkeys": "keys", "keyboard": "keys", "about": "about", "licence": "licences", "quit": "quit",
    "exit": "quit", "close": "close", "cancel": "cancel", "abort": "cancel", "group": "link",
    "lock": "link", "stereo pair": "link", "track": "add", "reorder": "move_up", "select all": "choose_all",
    "reference": "anchor", "master": "anchor", "scroll": "follow", "sidebar": "panel", "collapse": "fold",
    "hide": "panel", "taller": "taller", "spectrum": "tab_3", "frequency": "tab_3", "eq": "tab_3",
    "notes": "tab_4", "demo": "demo", "example": "demo", "safety": "caution", "tutorial": "guide",
    "paste": "apply_setup", "midi": None, "plugin": None, "tempo": None,
}  # fmt: skip
THERE = [(typed, wanted) for typed, wanted in WORDS.items() if wanted is not None]
ABSENT = ["light mode", "midi", "plugin", "tempo", "reverb"]


def test_there_are_enough_of_them() -> None:
    assert len(THERE) >= 150


@pytest.mark.parametrize(("typed", "wanted"), THERE)
def test_the_command_is_found(typed: str, wanted: str) -> None:
    assert wanted in [one.id for one in matching(typed)]


@pytest.mark.parametrize("typed", ABSENT)
def test_what_is_not_there_leads_on(typed: str) -> None:
    assert matching(typed) == ()
    assert suggestions(typed) and all(matching(one) for one in suggestions(typed))


def test_a_slip_of_the_finger_is_understood() -> None:
    assert "polarity" in suggestions("polarty") and "zoom" in suggestions("zoon")


def test_every_command_has_words_of_its_own() -> None:
    numbered = {one.id for one in COMMANDS if one.id.startswith("hear_")}
    assert {one.id for one in COMMANDS} - numbered <= set(ALSO) and set(ALSO) <= {one.id for one in COMMANDS}


def test_its_own_text_comes_first() -> None:
    assert matching("undo")[0].id == "undo"
    assert matching("loop")[0].text.startswith("Loop")
    assert matching("attack loop")[0].id == "loop_attack"


def test_lines_are_the_way_through_the_menus_with_keys_beside(qtbot: QtBot) -> None:
    dialog = CommandSearch(lambda _: True)
    qtbot.addWidget(dialog)
    dialog.show()
    QTest.keyClicks(dialog.words, "phase")
    found = [
        [dialog.list.item(row, column).text() for column in (0, 1)] for row in range(dialog.list.rowCount())
    ]
    assert ["Lane › Flip the polarity", "P"] in found
    with qtbot.waitSignal(dialog.chosen) as chosen:
        row = found.index(["Lane › Flip the polarity", "P"])
        for _ in range(row):
            QTest.keyClick(dialog.words, Qt.Key.Key_Down)
        QTest.keyClick(dialog.words, Qt.Key.Key_Return)
    assert chosen.args == ["polarity"]


def test_nothing_found_is_said(qtbot: QtBot) -> None:
    dialog = CommandSearch(lambda _: True)
    qtbot.addWidget(dialog)
    dialog.show()
    assert dialog.words.placeholderText() == "Words of a command"
    QTest.keyClicks(dialog.words, "zoon")
    said = " ".join(one.text() for one in dialog.findChildren(QLabel) if one.isVisible())
    assert said.startswith("Nothing found. Try ") and "zoom" in said
    assert dialog.list.rowCount() == 0
