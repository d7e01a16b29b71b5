"""How long the desk's event loop is ever held up while it opens, measures, plays and exports at once.

    python tests/benchmarks/desk_heartbeat.py [--lanes 8] [--minutes 10]

A timer beats every 10 ms; a beat that comes late by more than 100 ms is a stall. Prints the beats' lateness
for each phase (median, p95, worst) and whether the bar was kept: no stall above 100 ms.
"""

from __future__ import annotations

import argparse
import os
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from desk_frames import write_recordings

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
BEAT_MS = 10
STALL_MS = 100.0
AFTER_S = 1.0  # what a task leaves to be shown is part of it


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--lanes", type=int, default=8)
    parser.add_argument("--minutes", type=float, default=10.0)
    given = parser.parse_args()

    from PySide6.QtCore import QSettings, QTimer

    from lagline.deliver.options import DeliveryOptions
    from lagline.desk.app import make_application
    from lagline.desk.panels.export_plan import ExportWish
    from lagline.desk.style import dress
    from lagline.desk.window import DeskWindow
    from lagline.playback.player import Player

    application = make_application(["lagline"])
    dress(application, "dark")
    folder = Path(tempfile.mkdtemp(prefix="lagline-beat-"))
    os.environ["LAGLINE_CACHE_DIR"] = str(folder / "cache")
    write_recordings(folder / "take", given.lanes, given.minutes)
    window = DeskWindow(Player(), QSettings(str(folder / "s"), QSettings.Format.IniFormat))
    window.parts.settings.caution_read = True
    window.resize(1920, 1080)
    window.show()
    window.parts.side.build()
    late: list[float] = []
    stalled: list[int] = []
    print(f"{given.lanes} lanes of {given.minutes:g} min, load {os.getloadavg()[0]:.1f}")
    last = [time.perf_counter()]

    def beat() -> None:
        now = time.perf_counter()
        late.append(max(0.0, 1000 * (now - last[0]) - BEAT_MS))
        last[0] = now

    timer = QTimer()
    timer.setInterval(BEAT_MS)
    timer.timeout.connect(beat)

    def phase(name: str, start: Callable[[], None], done: Callable[[], bool]) -> None:
        for _ in range(50):
            application.processEvents()
        late.clear()
        last[0] = time.perf_counter()
        timer.start()
        start()
        end = time.perf_counter() + 120
        over = end
        while time.perf_counter() < over:
            if over == end and done():
                over = min(end, time.perf_counter() + AFTER_S)
            application.processEvents()
            time.sleep(0.0005)
        timer.stop()
        stalls = sum(value > STALL_MS for value in late)
        stalled.append(stalls)
        print(
            f"{name:28s} median {np.median(late):6.1f}   p95 {np.percentile(late, 95):6.1f}   "
            f"worst {max(late):6.1f} ms   stalls over {STALL_MS:g} ms: {stalls}",
            flush=True,
        )

    try:
        parts, commands = window.parts, window.commands
        phase(
            "open and draw",
            lambda: window.open_paths([folder / "take"]),
            lambda: parts.store.session is not None and window.is_drawn(),
        )
        phase(
            "measure",
            commands.work.measure,
            lambda: not parts.measuring.is_busy,
        )
        commands.lane.accept([lane.id for lane in parts.store.session.lanes])
        end = [0.0]

        def play() -> None:
            parts.playing.play()
            end[0] = time.perf_counter() + 5

        phase("play for 5 s", play, lambda: time.perf_counter() > end[0])
        wish = ExportWish(folder / "out", "v1", DeliveryOptions(), blends=("original", "v1"))
        phase(
            "export while playing",
            lambda: commands.dialogs.start_export(parts.store.session, wish),
            lambda: not commands.dialogs.is_exporting,
        )
        parts.playing.stop()
        print("bar: no stall above 100 ms:", "met" if not sum(stalled) else "NOT MET")
        parts.store.mark_saved(folder / "saved.lagline")
        window.close()
        application.processEvents()
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
