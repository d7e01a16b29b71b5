"""A minute of playback beside a process that repaints a window and one that keeps numpy busy."""

from __future__ import annotations

import multiprocessing
import os
import time

import numpy as np
from playback_common import load, parser, take, timed_device, timing, until

from lagline.playback.board import Field
from lagline.playback.player import Player


def be_ordinary() -> None:
    """Whatever priority the benchmark itself was given, its competitors have none."""
    if hasattr(os, "sched_setscheduler"):
        os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))


def repaint(seconds: float) -> None:
    """What a desk does at its busiest: 16 waveforms drawn anew 60 times a second, off the screen."""
    be_ordinary()
    os.environ["QT_QPA_PLATFORM"] = "offscreen"
    from PySide6.QtCore import QTimer
    from PySide6.QtGui import QImage, QPainter
    from PySide6.QtWidgets import QApplication, QWidget

    class Lanes(QWidget):
        def paintEvent(self, event: object) -> None:
            painter = QPainter(self)
            for lane in range(16):
                picture = np.random.randint(0, 255, (65, 1_920, 4), np.uint8)  # noqa: NPY002 (fast is enough)
                image = QImage(picture.data, 1_920, 65, QImage.Format.Format_RGB32)
                painter.drawImage(0, lane * 67, image)
            painter.end()

    app = QApplication([])
    window = Lanes()
    window.resize(1_920, 1_080)
    window.show()
    timer = QTimer(interval=16, timeout=window.repaint)
    timer.start()
    QTimer.singleShot(round(seconds * 1_000), app.quit)
    app.exec()


def compute(seconds: float) -> None:
    """What analysis does: transforms of long arrays, without a pause."""
    be_ordinary()
    stop, signal = time.monotonic() + seconds, np.random.default_rng(0).standard_normal(1 << 18)
    while time.monotonic() < stop:
        np.fft.irfft(np.abs(np.fft.rfft(signal)))


def main() -> None:
    arguments = parser(__doc__)
    arguments.add_argument("--seconds", type=float, default=60.0)
    arguments.add_argument("--device", choices=["clock", "jack"], default="clock")
    arguments.add_argument("--lanes", type=int, default=8)
    arguments.add_argument("--block", type=int, default=256)
    given = arguments.parse_args()
    context = multiprocessing.get_context("spawn")
    busy = [context.Process(target=work, args=(given.seconds + 5,)) for work in (repaint, compute)]
    session = take(given.folder, given.lanes, 90.0)
    with timed_device(given.device, 48_000, given.block) as name, Player(measure_levels=False) as player:
        player.load(session)
        player.set_device(name, block_frames=given.block)
        player.play()
        until(lambda: player.state().position > 24_000)
        for process in busy:
            process.start()
        time.sleep(3.0)
        player.board.clear_timing()
        player.board[Field.STARVED] = player.board[Field.UNDERRUNS] = 0
        began, place = time.perf_counter(), player.state().position
        while time.perf_counter() - began < given.seconds:
            time.sleep(0.5)
            player.select("v1" if player.state().version_id == "original" else "original")
        played = (player.state().position - place) / 48_000 / (time.perf_counter() - began)
        print(
            f"{given.device}, {given.block} frames, {given.lanes} lanes, {given.seconds:g} s: "
            f"{timing(player)}; frames played per elapsed time {played:.4f}; {load()}"
        )
    for process in busy:
        process.join()


if __name__ == "__main__":
    main()
