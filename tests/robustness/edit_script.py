"""A desk that is edited 200 times, run as a process of its own so that it can be killed at any moment.

    python tests/robustness/edit_script.py SESSION LOG [--steps 200] [--pause-ms 50] [--save-every 0]

After each step its number and the time it was done are written to LOG, through to the disk.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ["QT_QPA_PLATFORM"] = "offscreen"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("session", type=Path)
    parser.add_argument("log", type=Path)
    parser.add_argument("--steps", type=int, default=200)
    parser.add_argument("--pause-ms", type=int, default=50)
    parser.add_argument("--save-every", type=int, default=0, help="save after so many steps; 0: never")
    parser.add_argument("--never-saved", action="store_true", help="open the recordings, not the session")
    asked = parser.parse_args()

    from msgspec.structs import replace
    from PySide6.QtCore import QSettings, QTimer
    from PySide6.QtWidgets import QApplication
    from tests.support.fake_desk import FakePlayer, FakeQuestions

    from lagline.desk.window import DeskWindow
    from lagline.session import edits
    from lagline.session.values import Session

    application = QApplication([])
    settings = QSettings(str(asked.log.with_suffix(".ini")), QSettings.Format.IniFormat)
    window = DeskWindow(FakePlayer(), settings, FakeQuestions())
    window.show()
    log = os.open(asked.log, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    step = 0

    def edit(session: Session) -> Session:
        """Every kind of edit in turn; the notes tell how far it came."""
        lane = session.lanes[step % len(session.lanes)].id
        kind = step % 5
        if kind == 0:
            session = edits.nudged(session, lane, 1.25)
        elif kind == 1:
            session = edits.with_gain(session, lane, -(step % 12))
        elif kind == 2:
            session = edits.with_polarity(session, lane, -1 if step % 2 else 1)
        elif kind == 3:
            session = edits.with_new_version(session, f"Try {step}", session.current_version_id)
        else:
            session = edits.with_pan(session, lane, (step % 20) / 10 - 1)
        return replace(session, notes=str(step))

    def go_on() -> None:
        nonlocal step
        step += 1
        window.parts.store.apply(f"Step {step}", edit)
        os.write(log, f"{step} {time.monotonic():.3f}\n".encode())
        os.fsync(log)
        if asked.save_every and step % asked.save_every == 0:
            window.parts.keeping.save()
        if step >= asked.steps:
            timer.stop()
            os.write(log, b"end\n")

    timer = QTimer()
    timer.setInterval(asked.pause_ms)
    timer.timeout.connect(go_on)
    window.parts.files.opened.connect(lambda _session: timer.start())
    wanted = sorted((asked.session.parent / "take").iterdir()) if asked.never_saved else [asked.session]
    QTimer.singleShot(0, lambda: window.open_paths(wanted))
    return application.exec()


if __name__ == "__main__":
    sys.exit(main())
