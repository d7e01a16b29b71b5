"""The open dialog says how recordings are before they are opened."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QListView
from pytestqt.qtbot import QtBot

from lagline.desk.dialogs.open_dialog import OpenDialog
from lagline.desk.reading.file_health import FileHealth, check_files
from lagline.errors import Cancelled


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("LAGLINE_CACHE_DIR", str(tmp_path / "cache"))
    place = tmp_path / "take"
    place.mkdir()
    noise = 0.1 * np.random.default_rng(1).standard_normal(48_000).clip(-3, 3)
    noise -= noise.mean()
    soundfile.write(place / "good.wav", noise, 48_000, subtype="PCM_24")
    soundfile.write(place / "loud.wav", np.stack([noise, 20 * noise], 1).clip(-1, 1), 44_100)
    soundfile.write(place / "silent.wav", np.zeros(48_000), 48_000)
    (place / "broken.wav").write_bytes(b"no sound at all")
    return place


@pytest.fixture
def dialog(qtbot: QtBot, folder: Path) -> Iterator[OpenDialog]:
    dialog = OpenDialog("Open", folder, "All files (*)")
    qtbot.addWidget(dialog)
    dialog.show()
    qtbot.waitExposed(dialog)
    yield dialog
    dialog.done(0)


def choose(dialog: OpenDialog, qtbot: QtBot, *names: str) -> None:
    """Click the files, with Ctrl after the first."""
    view = dialog.findChild(QListView, "listView")
    model = view.model()

    def rows() -> dict[str, object]:
        root = view.rootIndex()
        return {model.index(n, 0, root).data(): model.index(n, 0, root) for n in range(model.rowCount(root))}

    qtbot.waitUntil(lambda: set(names) <= set(rows()))
    for number, name in enumerate(names):
        modifier = Qt.KeyboardModifier.ControlModifier if number else Qt.KeyboardModifier.NoModifier
        at = view.visualRect(rows()[name]).center()
        qtbot.mouseClick(view.viewport(), Qt.MouseButton.LeftButton, modifier, at)


def text(dialog: OpenDialog, row: int, column: int) -> str:
    item = dialog.table.item(row, column)
    return item.text() if item is not None else ""


def test_chosen_recordings_are_listed_with_facts_and_health(dialog: OpenDialog, qtbot: QtBot) -> None:
    choose(dialog, qtbot, "good.wav", "loud.wav", "silent.wav", "broken.wav")
    assert dialog.table.rowCount() == 4
    by_name = {text(dialog, row, 0): row for row in range(4)}
    qtbot.waitUntil(lambda: "silence" in text(dialog, by_name["silent.wav"], 2), timeout=10_000)
    qtbot.waitUntil(lambda: "loud" in text(dialog, by_name["loud.wav"], 2), timeout=10_000)
    qtbot.waitUntil(lambda: "Nothing wrong" in text(dialog, by_name["good.wav"], 2), timeout=10_000)
    assert text(dialog, by_name["good.wav"], 1) == "0:01.00 · 48 kHz · 24 bit · 1 channel"
    assert text(dialog, by_name["loud.wav"], 1).endswith("2 channels")
    assert text(dialog, by_name["loud.wav"], 2).startswith("⚠")
    assert "broken.wav" in text(dialog, by_name["broken.wav"], 2)
    assert {path.name for path in dialog.chosen} == set(by_name)


def test_another_choice_replaces_the_first(dialog: OpenDialog, qtbot: QtBot) -> None:
    choose(dialog, qtbot, "good.wav", "silent.wav")
    choose(dialog, qtbot, "loud.wav")
    assert [text(dialog, row, 0) for row in range(dialog.table.rowCount())] == ["loud.wav"]
    qtbot.waitUntil(lambda: text(dialog, 0, 2).startswith("⚠"), timeout=10_000)


def test_reading_stops_when_it_is_no_longer_wanted(folder: Path) -> None:
    told: list[FileHealth] = []
    with pytest.raises(Cancelled):
        check_files((folder / "good.wav",), told.append, lambda: True)
    assert [one.grade for one in told] == ["reading"]
