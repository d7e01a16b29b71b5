"""A long day at the desk, compressed: open, measure, drag, switch, play, export, again and again.

    python tests/robustness/endurance.py [--rounds 2000] [--every 100] [--minutes 480]

The window, the store, analysis in its process, overviews and export are the real ones; the player is the real
engine process on its silent clock. Every so many rounds memory, threads, open files, processes and Qt objects
are counted, and printed as a Markdown table. Warnings of Python and of Qt end the run. Exit code 1 when
anything still grows in the second half.
"""

from __future__ import annotations

import argparse
import gc
import logging
import os
import sys
import tempfile
import threading
import time
import warnings
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ["QT_QPA_PLATFORM"] = "offscreen"
PATIENCE_S = 60.0
MOST_GROWTH_MB = 20.0  # in the second half of a run


class Count:
    """What a desk holds at one moment."""

    def __init__(self, rounds: int, seconds: float) -> None:
        import psutil
        from PySide6.QtCore import QObject
        from PySide6.QtWidgets import QApplication

        gc.collect()
        me = psutil.Process()
        self.rounds, self.seconds = rounds, seconds
        self.memory_mb = me.memory_info().rss / 2**20
        self.threads, self.handles = me.num_threads(), me.num_fds()
        self.python_threads = threading.active_count()
        children = me.children(recursive=True)
        self.processes = len(children)
        self.children_mb = sum(child.memory_info().rss for child in children) / 2**20
        application = QApplication.instance()
        assert isinstance(application, QApplication)
        self.widgets = len(application.allWidgets())
        self.qt_objects = sum(
            1 for window in application.topLevelWidgets() for _ in window.findChildren(QObject)
        )
        self.objects = len(gc.get_objects())

    def row(self) -> str:
        return (
            f"| {self.rounds} | {self.seconds:.0f} | {self.memory_mb:.0f} | {self.children_mb:.0f} "
            f"| {self.processes} | {self.threads} | {self.handles} | {self.widgets} | {self.qt_objects} "
            f"| {self.objects} |"
        )


HEAD = (
    "| rounds | s | desk MB | helpers MB | helpers | threads | handles | widgets | Qt objects "
    "| Python objects |\n"
    "|---|---|---|---|---|---|---|---|---|---|"
)


class Day:
    """One desk and one take, used over and over."""

    def __init__(self, folder: Path, *, real_player: bool = True, heavy_every: int = 1) -> None:
        from PySide6.QtCore import QSettings
        from PySide6.QtWidgets import QApplication
        from tests.support.click_take import write_click_take
        from tests.support.fake_desk import FakePlayer, FakeQuestions

        from lagline.desk.window import DeskWindow
        from lagline.playback.player import Player
        from lagline.session.storage import save

        found = QApplication.instance()
        self.application = found if isinstance(found, QApplication) else QApplication([])
        self.heavy_every = heavy_every
        self.questions = FakeQuestions()
        self.questions.unsaved_answer = "discard"
        player = Player(measure_levels=False) if real_player else FakePlayer()
        settings = QSettings(str(folder / "settings.ini"), QSettings.Format.IniFormat)
        self.window = DeskWindow(player, settings, self.questions)
        self.window.parts.settings.caution_read = True
        self.window.resize(1280, 800)
        self.window.show()
        self.folder, self.file = folder, folder / "take.lagline"
        save(write_click_take(folder / "take", {"near": 0, "side": 56, "room": 96}), self.file)
        self.problems: list[str] = []
        self.window.parts.files.problem.connect(self.problems.append)
        self.window.parts.measuring.problem.connect(self.problems.append)

    def until(self, done: Callable[[], bool], what: str) -> None:
        end = time.monotonic() + PATIENCE_S
        while not done():
            if time.monotonic() > end:
                raise SystemExit(f"{what} took longer than {PATIENCE_S:.0f} s; problems: {self.problems}")
            self.application.processEvents()
            time.sleep(0.001)

    def round(self, number: int) -> None:
        """Everything once."""
        parts = self.window.parts
        opened: list[object] = []
        parts.files.opened.connect(opened.append)
        self.window.open_paths([self.file])
        self.until(lambda: bool(opened), "opening")
        parts.files.opened.disconnect(opened.append)
        if number % self.heavy_every == 0:
            self.measure()
        session = parts.store.session
        assert session is not None
        lane = session.lanes[number % len(session.lanes)].id
        for pixel in range(10):
            parts.edits.shift(lane, float(pixel))
        parts.edits.settle(lane)
        parts.edits.flip(lane, -1)
        parts.store.undo()
        parts.playing.play()
        parts.playing.hear("original" if number % 2 else session.current_version_id)
        parts.playing.seek(1_000 * (number % 20))
        self.until(self.window.is_drawn, "drawing")
        parts.playing.stop()
        if number % self.heavy_every == 0:
            self.export()
        parts.keeping.autosaver.tick()

    def measure(self) -> None:
        measuring = self.window.parts.measuring
        measured: list[bool] = []
        told = measuring.measured.connect(lambda: measured.append(True))
        measuring.measure()
        self.until(lambda: bool(measured), "measuring")
        measuring.measured.disconnect(told)

    def export(self) -> None:
        from lagline.deliver.options import DeliveryOptions
        from lagline.jobs.hand_over import hand_over_take

        now = self.window.parts.store.session
        assert now is not None
        hand_over_take(now, self.folder / "out", now.current_version_id, DeliveryOptions(overwrite=True))

    def close(self) -> None:
        self.window.close()
        self.window.deleteLater()
        self.application.sendPostedEvents(None, 0)
        self.application.processEvents()


def watch_warnings() -> None:
    """Warnings of Python and Qt become errors."""
    from PySide6.QtCore import QtMsgType, qInstallMessageHandler

    warnings.simplefilter("error")
    logging.captureWarnings(False)

    def handler(kind: QtMsgType, _context: object, text: str) -> None:
        if kind != QtMsgType.QtDebugMsg and "This plugin does not support" not in text:
            print(f"Qt: {text}", file=sys.stderr, flush=True)
            os._exit(3)

    qInstallMessageHandler(handler)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--rounds", type=int, default=2000)
    parser.add_argument("--every", type=int, default=100)
    parser.add_argument(
        "--heavy-every", type=int, default=1, help="measure and export only every so many rounds"
    )
    parser.add_argument("--minutes", type=float, default=480)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="lagline-day-") as name:
        folder = Path(name)
        for variable in ("LAGLINE_CACHE_DIR", "LAGLINE_STATE_DIR"):
            os.environ[variable] = str(folder / variable.lower())
        watch_warnings()
        day, began, counts = Day(folder, heavy_every=asked.heavy_every), time.monotonic(), []
        print(HEAD)
        for number in range(1, asked.rounds + 1):
            day.round(number)
            if number % asked.every == 0 or number in (1, 10):
                counts.append(Count(number, time.monotonic() - began))
                print(counts[-1].row(), flush=True)
            if time.monotonic() - began > 60 * asked.minutes:
                break
        day.close()
    later = counts[len(counts) // 2 :]
    grown = [
        name for name in ("threads", "handles", "processes", "widgets", "qt_objects") if _grows(later, name)
    ]
    if later[-1].memory_mb - later[0].memory_mb > MOST_GROWTH_MB:
        grown.append("memory")
    print(f"\nGrows in the second half: {', '.join(grown) or 'nothing'}.")
    return 1 if grown else 0


def _grows(counts: list[Count], name: str) -> bool:
    values = [getattr(count, name) for count in counts]
    return values[-1] > values[0] + max(3, values[0] // 100)


if __name__ == "__main__":
    sys.exit(main())
