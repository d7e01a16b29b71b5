"""How quickly the list of a day's takes scrolls and takes in what changes.

    python tests/benchmarks/takes_list.py

500 invented takes of 6 lanes in the desk's own panel, drawn without a screen. A frame is a step of the scroll
bar and all that is repainted for it; the bar is 60 a second. Beside the clock's figures stand those of the
processor, which wait for nobody. What differs in each take is found on a thread of its own.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np
from msgspec.structs import replace
from PySide6.QtWidgets import QApplication
from tests.support.day_takes import told

from lagline.day.against import differences, held_against
from lagline.day.document import load_day, save_day
from lagline.day.values import Day
from lagline.desk.day.takes_panel import TakesPanel
from lagline.desk.style import dress

TAKES, FRAMES, BAR_MS = 500, 300, 1000 / 60


def invented_day() -> Day:
    rng = np.random.default_rng(1)
    takes = []
    for number in range(TAKES):
        arrivals = {f"lane {lane}": float(-100 * lane + rng.normal(0, 0.3)) for lane in range(1, 6)}
        if number >= TAKES // 2:
            arrivals["lane 2"] += 40.0
        take = told(f"Take {number + 1}", {**arrivals, "room": 0.0}, is_checked=True)
        takes.append(replace(take, picture=rng.integers(0, 256, 96).astype(np.uint8).tobytes()))
    return Day("invented", tuple(takes))


def timed(what: str, call: object, bar_ms: float | None = None) -> object:
    begun = time.perf_counter()
    result = call()  # type: ignore[operator]
    spent = 1000 * (time.perf_counter() - begun)
    print(f"{what:44} {spent:7.1f} ms" + (f"   (bar {bar_ms:g} ms)" if bar_ms else ""))
    return result


def main() -> None:
    application = QApplication([])
    dress(application, "dark")
    panel = TakesPanel()
    panel.resize(1280, 400)
    panel.show()
    application.processEvents()
    day = invented_day()
    timed("the list into the panel", lambda: panel.show_day(day), 100)
    held = timed("where lanes usually are (own thread)", lambda: held_against(day))
    found = timed(
        "what differs in 500 takes (own thread)",
        lambda: {take.name: differences(take, held) for take in day.takes},  # type: ignore[arg-type]
    )
    timed("what differs into the panel", lambda: panel.show_differences(found), 100)  # type: ignore[arg-type]
    changed = day.with_take(replace(day.takes[250], error="x"))
    timed("one take changed", lambda: panel.show_day(changed), BAR_MS)
    path = Path(tempfile.mkdtemp()) / "a.lagline-day"
    timed("saved (own thread)", lambda: save_day(day, path))
    timed("read (own thread)", lambda: load_day(path))
    bar = panel.table.verticalScrollBar()
    frames = []
    for number in range(2 * FRAMES):  # there and back
        begun, spent = time.perf_counter(), time.thread_time()
        bar.setValue(round(bar.maximum() * min(number + 1, 2 * FRAMES - number - 1) / FRAMES))
        application.processEvents()
        frames.append((1000 * (time.perf_counter() - begun), 1000 * (time.thread_time() - spent)))
    for what, times in zip(("by the clock", "by the processor"), np.array(frames).T, strict=True):
        middle, late = np.percentile(times, [50, 95])
        print(f"{'a frame, ' + what:44} {middle:7.1f} median, {late:.1f} p95, {times.max():.1f} ms")
    print(f"bar {BAR_MS:.1f} ms, load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
