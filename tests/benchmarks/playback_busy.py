"""A minute of playback from a desk that draws everything anew all the time and measures a take meanwhile.

The desk, its player, its engine and its analysis are the real ones, in the processes they have at work.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from pathlib import Path

from playback_common import load, parser, take, timed_device, timing
from playback_witness import witness

from lagline.playback.board import Field

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
FRAME_MS = 16
SWITCH_S = 0.5


def main() -> None:
    arguments = parser(__doc__)
    arguments.add_argument("--seconds", type=float, default=60.0)
    arguments.add_argument("--device", choices=["clock", "jack"], default="clock")
    arguments.add_argument("--lanes", type=int, default=8)
    arguments.add_argument("--block", type=int, default=256)
    given = arguments.parse_args()

    from PySide6.QtCore import QSettings, QTimer

    from lagline.desk.app import make_application
    from lagline.desk.style import dress
    from lagline.desk.window import DeskWindow
    from lagline.playback.player import Player
    from lagline.playback.protocol import DeviceChoice

    session = take(given.folder, given.lanes, given.seconds + 60.0)
    application = make_application(["lagline"])
    dress(application, "dark")
    folder = Path(tempfile.mkdtemp(prefix="lagline-busy-"))
    player = Player()
    window = DeskWindow(player, QSettings(str(folder / "settings"), QSettings.Format.IniFormat))
    parts, drawn, measuring = window.parts, 0, 0
    parts.settings.caution_read = True
    window.resize(1920, 1080)
    window.show()
    parts.side.build()

    def wait(seconds: float) -> None:
        end = time.perf_counter() + seconds
        while time.perf_counter() < end:
            application.processEvents()
            time.sleep(0.0005)

    def draw() -> None:
        nonlocal drawn, measuring
        drawn, measuring = drawn + 1, measuring + parts.measuring.is_busy
        parts.times.zoom(1.02 if drawn % 200 < 100 else 1 / 1.02, None)
        window.repaint()

    def measure() -> None:
        if not parts.measuring.is_busy:
            window.commands.work.measure()

    timers = [QTimer(interval=FRAME_MS, timeout=draw), QTimer(interval=200, timeout=measure)]
    try:
        with timed_device(given.device, 48_000, given.block) as name:
            window.show_take(session)
            parts.playing.set_device(DeviceChoice(name, block_frames=given.block))
            parts.playing.play()
            while not player.state().position > 24_000:
                wait(0.05)
            for timer in timers:
                timer.start()
            wait(3.0)
            with witness(player.board) as watching:
                player.board.clear_timing()
                player.board[Field.STARVED] = player.board[Field.UNDERRUNS] = 0
                drawn = measuring = 0
                began, place = time.perf_counter(), player.state().position
                while time.perf_counter() - began < given.seconds:
                    wait(SWITCH_S)
                    parts.playing.hear("v1" if player.state().version_id == "original" else "original")
                elapsed = time.perf_counter() - began
                played = (player.state().position - place) / 48_000 / elapsed
                told, numbers = player.state(), timing(player)
            print(
                f"{given.device}, {given.block} frames, {given.lanes} lanes, {elapsed:.0f} s, "
                f"engine's priority {told.priority}: {numbers}; frames played per elapsed time {played:.4f}; "
                f"{drawn / elapsed:.0f} drawings a second, "
                f"analysis running {100 * measuring / max(drawn, 1):.0f} % of the time; {load()}"
                + ("; NO DEVICE" if told.is_silent and given.device != "clock" else "")
            )
            print(f"  {watching.account.text(given.block / 48_000)}", flush=True)
            for timer in timers:
                timer.stop()
            parts.playing.stop()
            parts.store.mark_saved(folder / "saved.lagline")
            window.close()
            application.processEvents()
    finally:
        player.close()
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
