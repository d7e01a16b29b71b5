"""How large the interface is drawn: chosen in the settings, taken at the next start. A real process."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from PySide6.QtCore import QSettings
from PySide6.QtWidgets import QDialog
from tests.support.fake_desk import FakeQuestions

from lagline.desk.dialogs.settings_dialog import SettingsDialog
from lagline.desk.settings import SCALES, DeskSettings
from lagline.desk.window import DeskWindow

START = """
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
from lagline.desk import app

def told():
    print("ratio", QApplication.primaryScreen().devicePixelRatio())
    QApplication.quit()

make = app.make_application
def made(arguments):
    application = make(arguments)
    QTimer.singleShot(1500, told)
    return application
app.make_application = made
app.open_desk([])
"""


def ratio_at_start(home: Path) -> float:
    surroundings = {
        **os.environ,
        "HOME": str(home),
        "XDG_CONFIG_HOME": str(home),
        "QT_QPA_PLATFORM": "offscreen",
    }
    surroundings.pop("QT_SCALE_FACTOR", None)
    done = subprocess.run(
        [sys.executable, "-c", START], env=surroundings, capture_output=True, text=True, timeout=120
    )
    return float(next(line for line in done.stdout.splitlines() if line.startswith("ratio")).split()[1])


@pytest.mark.skipif(sys.platform != "linux", reason="settings lie in a folder on Linux")
def test_the_next_start_is_as_large_as_was_chosen(tmp_path: Path) -> None:
    (tmp_path / "Lagline").mkdir()
    assert ratio_at_start(tmp_path) == 1.0
    kept = QSettings(str(tmp_path / "Lagline" / "Lagline.conf"), QSettings.Format.IniFormat)
    DeskSettings(kept).scale_percent = 150
    kept.sync()
    assert ratio_at_start(tmp_path) == 1.5


def test_it_is_chosen_in_the_settings(
    window: DeskWindow, questions: FakeQuestions, monkeypatch: pytest.MonkeyPatch
) -> None:
    def choose(dialog: QDialog) -> None:
        assert isinstance(dialog, SettingsDialog)
        assert dialog.scale.currentText() == "100 %"
        dialog.scale.setCurrentIndex(SCALES.index(200))

    monkeypatch.setattr(questions, "show", choose)
    window.actions_by_id["settings"].trigger()
    assert window.parts.settings.scale_percent == 200
    window.parts.settings.scale_percent = 90
    assert window.parts.settings.scale_percent == 100, "what is not offered is not taken"
