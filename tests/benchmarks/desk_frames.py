"""How quickly the desk draws: zooms, pans and drags over many long lanes, and drop to first drawing.

    python tests/benchmarks/desk_frames.py        4, 8, 16 lanes of 10 min, 8 of an hour; 16 lanes at 4K
    python tests/benchmarks/desk_frames.py --lanes 4 8 16 --minutes 10 60 --size 1920x1080 [--frames 120]

Draws without a screen unless QT_QPA_PLATFORM says otherwise. A frame is a change of the view or the session
and everything repainted because of it, in one thread, up to pixels in the window's own image. Recordings
are made on the fly (24-bit WAV of coloured noise) and removed again; an hour of 16 lanes takes 8 GB of disk.
Beside each figure that has one stands its bar; the last lines list them all. With other work on the machine
the figures say little: the load is printed too, and beside each row of frames the processor time that their
thread used, which waits for nobody.
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

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
RATE_HZ = 48_000


def write_recordings(folder: Path, lanes: int, minutes: float) -> list[Path]:
    """Mono 24-bit WAVs: bursts of noise, different in every lane."""
    import soundfile

    folder.mkdir(parents=True)
    rng = np.random.default_rng(1)
    second = rng.normal(0, 0.1, RATE_HZ * 10) * (0.2 + np.abs(np.sin(np.arange(RATE_HZ * 10) / 9_000)))
    paths = []
    for lane in range(lanes):
        path = folder / f"lane {lane + 1:02d}.wav"
        block = np.roll(second, 997 * lane).astype(np.float32)
        with soundfile.SoundFile(path, "w", RATE_HZ, 1, "PCM_24") as file:
            left = round(minutes * 60 * RATE_HZ)
            while left > 0:
                file.write(block[:left])
                left -= len(block)
        paths.append(path)
    os.sync()  # writing them to the disk does not go on while they are read
    return paths


Case = tuple[int, float, tuple[int, int]]  # lanes, minutes, pixels

REPAINT_MS = {(4, 1920): 10.0, (8, 1920): 10.0, (16, 1920): 16.0, (16, 3840): 33.0}
DRAG_MS = 2.0
DROP_S = {"first drawing": 0.3, "whole overview": 1.5, "from the cache": 0.4}
results: list[tuple[str, float, float, str]] = []  # what, figure, bar, unit


def judged(what: str, figure: float, bar: float | None, unit: str) -> str:
    if bar is None:
        return ""
    results.append((what, figure, bar, unit))
    return f"   (bar {bar:g} {unit})"


def figures(times: list[tuple[float, float]], what: str, bar_ms: float | None) -> str:
    """Of frames' times by the clock and by the processor, both in ms; judged by the clock."""
    clock_ms, processor_ms = np.array(times).T
    middle, late, worst = np.median(clock_ms), float(np.percentile(clock_ms, 95)), clock_ms.max()
    found = f"median {middle:6.2f}   p95 {late:6.2f}   worst {worst:6.2f} ms"
    spent = f"   processor median {np.median(processor_ms):6.2f}   p95 {np.percentile(processor_ms, 95):6.2f}"
    return found + judged(f"{what}, p95", late, bar_ms, "ms") + spent


def frames(application, changes: list[Callable[[], None]]) -> list[tuple[float, float]]:  # type: ignore[no-untyped-def]
    times = []
    for change in changes:
        start, spent = time.perf_counter(), time.thread_time()
        change()
        application.sendPostedEvents()
        application.processEvents()
        times.append((1000 * (time.perf_counter() - start), 1000 * (time.thread_time() - spent)))
    return times


class Mouse:
    """A hand on one lane's waveform, the magnet off, with all that a person's drag sets off."""

    def __init__(self, application, wave) -> None:  # type: ignore[no-untyped-def]
        from PySide6.QtCore import QEvent, Qt

        self._application, self._wave = application, wave
        self._kinds, self._left, self._none = QEvent.Type, Qt.MouseButton.LeftButton, Qt.MouseButton.NoButton

    def press(self, x: float) -> None:
        self._send(self._kinds.MouseButtonPress, x, self._left, self._left)

    def move(self, x: float) -> None:
        self._send(self._kinds.MouseMove, x, self._none, self._left)

    def release(self, x: float) -> None:
        self._send(self._kinds.MouseButtonRelease, x, self._left, self._none)

    def _send(self, kind, x, button, buttons) -> None:  # type: ignore[no-untyped-def]
        from PySide6.QtCore import QPointF, Qt
        from PySide6.QtGui import QMouseEvent

        at = QPointF(x, self._wave.height() / 2)
        there = QPointF(self._wave.mapToGlobal(at.toPoint()))
        control = Qt.KeyboardModifier.ControlModifier
        self._application.sendEvent(self._wave, QMouseEvent(kind, at, there, button, buttons, control))


def measure(lanes: int, minutes: float, size: tuple[int, int], count: int) -> None:
    from PySide6.QtCore import QSettings, Qt
    from PySide6.QtTest import QTest

    from lagline.desk.app import make_application
    from lagline.desk.style import dress
    from lagline.desk.window import DeskWindow
    from lagline.playback.player import Player

    application = make_application(["lagline"])
    dress(application, "dark")
    folder = Path(tempfile.mkdtemp(prefix="lagline-frames-"))
    os.environ["LAGLINE_CACHE_DIR"] = str(folder / "cache")
    name = f"{lanes} lanes of {minutes:g} min at {size[0]} x {size[1]}"
    print(f"\n{name} (load {os.getloadavg()[0]:.1f})", flush=True)
    repaint_ms = REPAINT_MS.get((lanes, size[0]))
    has_drop_bar = (lanes, minutes) == (8, 10.0)
    try:
        write_recordings(folder / "take", lanes, minutes)
        for label in ("new", "again, from the cache"):
            window = DeskWindow(
                Player(measure_levels=False), QSettings(str(folder / "s"), QSettings.Format.IniFormat)
            )
            window.resize(*size)
            window.show()
            window.parts.side.build()
            application.processEvents()
            start = time.perf_counter()
            window.open_paths([folder / "take"])
            first = every = whole = summed = None
            while summed is None:
                application.processEvents()
                now = time.perf_counter() - start
                drawn = len(window.parts.sounds.data.overviews())
                if first is None and drawn >= 1:
                    first = now
                if every is None and drawn >= lanes:
                    every = now
                ready = every is not None and not window.parts.sounds.overviews.is_busy
                if whole is None and ready:
                    whole = now
                if whole is not None and (window.is_drawn() or now > whole + 60):
                    summed = now
                time.sleep(0.001)
            print(
                f"  drop ({label}): first drawing {first:.2f}, every lane {every:.2f}, "
                f"whole overview {whole:.2f}, sum {summed:.2f} s",
                flush=True,
            )
            if has_drop_bar and label == "new":
                judged("first drawing, every lane", every, DROP_S["first drawing"], "s")
                judged("whole overview", whole, DROP_S["whole overview"], "s")
            elif has_drop_bar:
                judged("whole overview from the cache", whole, DROP_S["from the cache"], "s")
            if label == "new":
                window.close()
                application.processEvents()
        times, stack = window.parts.times, window.parts.lanes.stack
        rng = np.random.default_rng(2)
        width = times.width
        zooms = [
            lambda f=f, x=x: times.zoom(f, x)
            for f, x in zip(
                np.where(np.arange(count) % 24 < 12, 1.4, 1 / 1.4), rng.uniform(0, width, count), strict=True
            )
        ]
        zoomed = frames(application, zooms)
        print("  zoom             ", figures(zoomed, f"repaint, zoom, {name}", repaint_ms))
        for stretch, per_pixel in (
            ("1 s a screen", RATE_HZ / width),
            ("1 min a screen", 60 * RATE_HZ / width),
        ):
            centre = times.span[1] / 3
            times.show_range(centre, centre + per_pixel * width)
            settle = time.perf_counter() + 0.5
            while time.perf_counter() < settle:
                application.processEvents()
            pans = [lambda p=p: times.pan(p) for p in np.where(np.arange(count) % 60 < 30, -37, 37)]
            panned = frames(application, pans)
            print(f"  pan, {stretch:14s}", figures(panned, f"repaint, pan {stretch}, {name}", repaint_ms))
        times.fit()
        application.processEvents()
        stack.let_drags_shift(True)
        mouse = Mouse(application, stack.row(stack.order[1]).wave)
        mouse.press(100)
        mouse.move(110)
        application.processEvents()
        drags = [lambda x=x: mouse.move(x) for x in 111 + np.arange(count) % 200]
        dragged = frames(application, drags)
        at_desk = size[0] == 1920
        print("  drag by mouse    ", figures(dragged, f"drag, {name}", DRAG_MS if at_desk else None))
        mouse.release(110)
        QTest.keyClick(window, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
        window.parts.store.mark_saved(folder / "saved.lagline")
        window.close()
        application.processEvents()
    finally:
        shutil.rmtree(folder)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--lanes", type=int, nargs="+")
    parser.add_argument("--minutes", type=float, nargs="+", default=[10.0])
    parser.add_argument("--size", default="1920x1080")
    parser.add_argument("--frames", type=int, default=120)
    given = parser.parse_args()
    width, height = (int(part) for part in given.size.split("x"))
    desk, wall = (1920, 1080), (3840, 2160)
    cases: list[Case] = [
        (4, 10.0, desk),
        (8, 10.0, desk),
        (16, 10.0, desk),
        (8, 60.0, desk),
        (16, 10.0, wall),
    ]
    if given.lanes:
        cases = [(lanes, minutes, (width, height)) for minutes in given.minutes for lanes in given.lanes]
    for case in cases:
        measure(*case, given.frames)
    print("\nagainst the bars:")
    for what, figure, bar, unit in results:
        print(f"  {'met    ' if figure <= bar else 'NOT MET'}  {figure:8.2f} {unit:2s} of {bar:g}   {what}")


if __name__ == "__main__":
    main()
