"""A system asks the desk to end: no question, no traceback, and the work is kept. A real process."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from tests.support.click_take import write_click_take

from lagline.session.storage import save

START = """
import os, signal, sys
from pathlib import Path
from PySide6.QtCore import QTimer
from lagline.desk import app
from lagline.desk.window import DeskWindow

def shifted(window):
    window.parts.edits.nudge((window.parts.store.session.lanes[0].id,), 7.0)
    QTimer.singleShot(100, lambda: os.kill(os.getpid(), getattr(signal, sys.argv[2])))

init = DeskWindow.__init__
def made(self, *given):
    init(self, *given)
    self.parts.settings.welcomed = self.parts.settings.caution_read = True
    self.parts.files.opened.connect(lambda _: QTimer.singleShot(500, lambda: shifted(self)))
DeskWindow.__init__ = made
if __name__ == "__main__":
    app.open_desk([Path(sys.argv[1])])
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such signals")
@pytest.mark.parametrize("name", ["SIGTERM", "SIGINT", "SIGHUP"])
def test_it_ends_at_once_and_keeps_the_work(tmp_path: Path, name: str) -> None:
    file = tmp_path / "take.lagline"
    save(write_click_take(tmp_path / "take", {"near": 0, "room": 96}), file)
    script = tmp_path / "start.py"
    script.write_text(START, "utf-8")
    homes = {
        key: str(tmp_path / "home") for key in ("HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME", "XDG_DATA_HOME")
    }
    done = subprocess.run(
        [sys.executable, str(script), str(file), name],
        env=os.environ | homes | {"QT_QPA_PLATFORM": "offscreen"},
        capture_output=True,
        text=True,
        timeout=180,
    )
    assert done.returncode == 128 + getattr(signal, name), done.stderr
    assert "Traceback" not in done.stderr
    kept = [path for path in tmp_path.rglob("*autosave*") if path.is_file()]
    assert any("7.0" in path.read_text("utf-8") for path in kept)
