"""Go from three files to the print of a combination, as a new user would; print when each step was done.

With `--pictures FOLDER` each step is pictured, in light and in dark.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
sys.path.insert(0, str(Path(__file__).parents[2]))

from PySide6.QtCore import QSettings
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from tests.support.close_far_line import Walk, take
from tests.support.fake_desk import FakeQuestions

from lagline.desk.app import make_application
from lagline.desk.style import dress
from lagline.desk.window import DeskWindow
from lagline.playback.player import Player

DWELL_MS = 1_000  # a cell is listened to


def walked(application: QApplication, theme: str, work: Path, pictures: Path | None) -> None:
    """One walk through the desk in a theme."""
    dress(application, theme)
    questions = FakeQuestions()
    settings = QSettings(str(work / "settings.ini"), QSettings.Format.IniFormat)
    desk = DeskWindow(Player(), settings, questions)
    desk.parts.settings.caution_read = True
    desk.resize(1280, 800)
    desk.show()
    desk.activateWindow()
    take(work / "take")
    began = time.perf_counter()

    def told(what: str) -> None:
        print(f"{time.perf_counter() - began:6.1f} s  {walk.keys:2d} keys  {what}")
        if pictures is not None:
            QTest.qWait(200)
            shown = QApplication.activeModalWidget() or desk
            shown.grab().save(str(pictures / f"{what.replace(' ', '-')}-{theme}.png"), "PNG")

    walk = Walk(desk, questions, told)
    walk.open(work / "take")
    walk.line_up()
    walk.hear_all(DWELL_MS)
    chosen = walk.choose(stars=5)
    walk.hand_over(work / "out")
    print(f"{len(walk.heard)} combinations heard for {DWELL_MS / 1000:g} s each; {chosen.name} was chosen")
    questions.unsaved_answer = "discard"
    desk.close()


def main() -> None:
    """Walk once, or once in each theme where it is pictured."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=Path, help="a folder for pictures of every step")
    arguments = parser.parse_args()
    application = make_application([])
    if arguments.pictures is not None:
        arguments.pictures.mkdir(parents=True, exist_ok=True)
    for theme in ("light", "dark") if arguments.pictures is not None else ("light",):
        with tempfile.TemporaryDirectory() as work:
            walked(application, theme, Path(work), arguments.pictures)


if __name__ == "__main__":
    main()
