"""Two thousand blind trials on the real device path, and a cheat that goes by timing and level alone.

Run as `python tests/robustness/trial_cheat.py [--trials 2000] [--seed 1]`. Every block goes through PortAudio
into the capture device of tests/support/alsa_capture.py (Linux, libportaudio2; no hardware); the cheat of
tests/support/trial_room.py works on what the device was sent. It prints how many it got right and how
probable that is by guessing.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import threading
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))  # for tests.support
from tests.support.alsa_capture import NAME, captured, configuration
from tests.support.trial_room import BLOCK, RATE_HZ, TrialRoom, score

from lagline.playback.board import Board
from lagline.playback.protocol import DeviceChoice
from lagline.playback.pulse import Pulse
from lagline.playback.trial import guessing_probability


def run(folder: Path, trials: int, seed: int) -> tuple[int, int]:
    """Right answers and trials. ALSA_CONFIG_PATH is read once by a process."""
    os.environ["ALSA_CONFIG_PATH"] = configuration(folder)
    from lagline.playback.device import open_output

    room, over, sent_at = TrialRoom(trials, seed), threading.Event(), []

    def fill(out: np.ndarray) -> None:
        if not sent_at:
            out[0] = np.float32(1e-6)  # marks where the device's own silence ends
            sent_at.append(0)
            out[1:] = 0.0
        elif room.is_over:
            out[:] = 0.0
            over.set()
        else:
            room.fill(out)

    output = open_output(DeviceChoice(NAME, block_frames=BLOCK), RATE_HZ, fill, Pulse(Board()))
    while not over.wait(1.0):
        assert output.is_alive(), "the device is gone"
    output.close()
    sent = captured(folder)
    start = int(np.flatnonzero(sent.any(axis=1))[0]) + BLOCK
    return score(sent, room.presses, start + room.mixer.delay_frames, seed)


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--trials", type=int, default=2000)
    arguments.add_argument("--seed", type=int, default=1)
    given = arguments.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        right, trials = run(Path(folder), given.trials, given.seed)
    chance = guessing_probability(right, trials)
    print(
        f"the cheat is right in {right} of {trials} trials; guessing does as well or better in {chance:.1%}"
    )


if __name__ == "__main__":
    main()
