"""How long Lagline takes to be there: its version, the first line of a measurement, the desk's first picture.

    python tests/benchmarks/start_up.py [--rounds 10] [--only version align desk]

Every figure is taken from the start of a new process, and the processes to be compared run one after the
other in the same round, so that a busy machine slows both. Printed are medians and what is to be compared:

    version   `lagline --version` less `python -c pass`; wanted: under 0.25 s
    align     `lagline align` on the demo take up to the first output on stdout
    desk      `lagline` up to its first painted window, against a bare window of PySide6 with one empty
              pyqtgraph plot; wanted: at most 1.5 times as long

Windows are drawn without a screen unless QT_QPA_PLATFORM says otherwise; `xvfb-run` with
QT_QPA_PLATFORM=xcb gives real ones. Settings and cache are new and empty for every round.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DEMO = sorted((ROOT / "demo_sessions" / "chapel").glob("*.flac"))

WATCH = """
import os
from PySide6.QtCore import QEvent, QObject, QTimer
from PySide6.QtWidgets import QApplication

class Watch(QObject):
    # The first paint event of any widget; the timer fires once the whole window is painted and flushed.
    def eventFilter(self, widget, event):
        if event.type() == QEvent.Type.Paint:
            QApplication.instance().removeEventFilter(self)
            QTimer.singleShot(0, self.tell)
        return False

    def tell(self):
        print("painted", flush=True)
        os._exit(0)

def watch():
    application = QApplication.instance()
    application.watch = Watch()
    application.installEventFilter(application.watch)
"""
BARE = (
    WATCH
    + """
import pyqtgraph
from PySide6.QtWidgets import QMainWindow

application = QApplication([])
window = QMainWindow()
window.setCentralWidget(pyqtgraph.PlotWidget())
window.resize(1280, 800)
watch()
window.show()
application.exec()
"""
)
DESK = (
    WATCH
    + """
from lagline.__main__ import main
from lagline.desk import app

class Watched(app.DeskWindow):
    def __init__(self, *given):
        super().__init__(*given)
        watch()

app.DeskWindow = Watched
main([])
"""
)


def first_output_s(command: list[str], environment: dict[str, str]) -> float:
    """From the start of the process to its first line on stdout; without one, to its end."""
    start = time.perf_counter()
    with subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as process:
        assert process.stdout is not None
        process.stdout.readline()
        taken = time.perf_counter() - start
        process.stdout.read()
    if process.returncode != 0:
        raise SystemExit(f"{' '.join(command)[:200]} ended with {process.returncode}")
    return taken


def whole_s(command: list[str], environment: dict[str, str]) -> float:
    start = time.perf_counter()
    subprocess.run(command, env=environment, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - start


def measure(rounds: int, wanted: list[str]) -> None:
    python, lagline = [sys.executable], [sys.executable, "-m", "lagline"]
    script = Path(sys.executable).with_name("lagline")
    if script.exists():
        lagline = [str(script)]
    times: dict[str, list[float]] = {}
    compiled = tempfile.TemporaryDirectory()  # as an installed package is: compiled once, in the first round
    own = {"PYTHONPYCACHEPREFIX": compiled.name, "PYTHONDONTWRITEBYTECODE": ""}
    for number in range(rounds + 1):
        with tempfile.TemporaryDirectory() as home:
            environment = (
                os.environ
                | own
                | {
                    "XDG_CONFIG_HOME": home,
                    "LAGLINE_STATE_DIR": home,
                    "LAGLINE_CACHE_DIR": str(Path(home) / "cache"),
                    "QT_QPA_PLATFORM": os.environ.get("QT_QPA_PLATFORM", "offscreen"),
                }
            )
            taken = {"python": whole_s([*python, "-c", "pass"], environment)}
            if "version" in wanted:
                taken["version"] = whole_s([*lagline, "--version"], environment)
            if "align" in wanted:
                taken["align"] = first_output_s([*lagline, "align", *map(str, DEMO)], environment)
            if "desk" in wanted:
                taken["bare window"] = first_output_s([*python, "-c", BARE], environment)
                taken["desk"] = first_output_s([*python, "-c", DESK], environment)
        if number:  # the first round only fills the disk's cache
            for name, seconds in taken.items():
                times.setdefault(name, []).append(seconds)
    compiled.cleanup()
    for name, each in times.items():
        print(f"{name:12} median {statistics.median(each):6.3f} s   {min(each):6.3f} to {max(each):6.3f}")
    middle = {name: statistics.median(each) for name, each in times.items()}
    if "version" in middle:
        print(
            f"lagline --version takes {middle['version'] - middle['python']:.3f} s more than python's start"
        )
    if "desk" in middle:
        ratio = middle["desk"] / middle["bare window"]
        print(f"the desk's first picture takes {ratio:.2f} times as long as the bare window's")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Measure how long Lagline takes to start.")
    parser.add_argument("--rounds", type=int, default=10)
    parser.add_argument("--only", nargs="+", choices=("version", "align", "desk"))
    given = parser.parse_args()
    measure(given.rounds, given.only or ["version", "align", "desk"])
