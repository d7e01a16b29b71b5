"""Plays a scripted passage through the real PortAudio path. Run by test_portaudio_capture.py in a process.

Usage: scripted_capture.py FOLDER SWITCH_AT. Everything is rendered beforehand, so that a device which keeps
no time cannot run ahead of the feeder; what is under test is what the device is sent.
"""

from __future__ import annotations

import sys
import threading
from pathlib import Path

import numpy as np
from msgspec.structs import replace
from tests.support.alsa_capture import NAME
from tests.support.array_clips import FloatArray
from tests.support.short_take import FRAMES, RATE_HZ, START, opened, take

from lagline.playback.board import Board
from lagline.playback.device import open_output
from lagline.playback.feeder import Feeder, Material
from lagline.playback.guard import NO_LIMIT
from lagline.playback.mixer import Mixer
from lagline.playback.protocol import DeviceChoice
from lagline.playback.pulse import Pulse
from lagline.playback.views import View, Wanted


def main() -> None:
    folder, switch_at = Path(sys.argv[1]), int(sys.argv[2])
    session = take(folder)
    mixer = Mixer(RATE_HZ, Board())
    feeder = Feeder(mixer, opened, report=print)
    feeder.show(Material(session, ("original", "v1")))
    feeder.jump(START)
    mixer.wanted = wanted = Wanted(playing=True, monitor_gain=1.0, most_rise_db=NO_LIMIT)
    finished = threading.Event()
    filled = 0

    def fill(out: FloatArray) -> None:
        nonlocal filled
        while feeder.work():
            pass
        head = min(max(switch_at - filled, 0), len(out))
        mixer.fill(out[:head])
        if filled + head == switch_at:
            mixer.wanted = replace(wanted, view=View("v1", turn=1))
        mixer.fill(out[head:])
        filled += len(out)
        if filled >= FRAMES:
            finished.set()

    while feeder.work():
        pass
    mixer.fill(np.zeros((0, 2), np.float32))
    output = open_output(DeviceChoice(NAME, block_frames=256), RATE_HZ, fill, Pulse(Board()))
    assert finished.wait(60)
    output.close()


if __name__ == "__main__":
    main()
