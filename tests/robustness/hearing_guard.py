"""A thousand random things done while it plays, and whether any made it louder than the guard promises.

Run as `python tests/robustness/hearing_guard.py [--actions 1000] [--seed 1]`. It drives a player with its
real processes on the capture device of tests/support/alsa_capture.py (Linux, libportaudio2; no hardware) and
prints the steepest rise within a second, the highest peak and how often each thing was done. The takes are
steady noise, so that nothing but what is done makes anything louder. What is below -90 LUFS counts as
silence, as in the guard.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

sys.path.insert(0, str(Path(__file__).parents[2]))  # for tests.support
from tests.support.alsa_capture import NAME, captured, configuration
from tests.support.hearing import heard_lufs, steepest_rise_db
from tests.support.loud_takes import RATE_HZ, take

from lagline.errors import EngineFailed
from lagline.playback.player import Player
from lagline.playback.protocol import Settings
from lagline.session import edits
from lagline.session.values import ORIGINAL_ID

SPEED = 6.0
CEILING_DBFS = -14.0
LEVELS_DB = (-30.0, 10.0, -10.0)  # of the takes that are opened
LANES = "abc"


class Outcome(Struct, frozen=True):
    """What came of it."""

    rise_db: float
    peak_dbfs: float
    heard_s: float
    counts: dict[str, int]


class Person:
    """Does things at random."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.dice = random.Random(seed)
        self.folder = folder
        self.counts: Counter[str] = Counter()
        self.player = Player(Settings(patient=True, speed=SPEED))
        self.player.set_guard(6.0, CEILING_DBFS)
        self.player.set_device(NAME)
        self.dim = self.difference = self.mono = self.same_moment = False
        self.open()

    def act(self) -> None:
        usual = [self.switch] * 6 + [self.flip, self.mute, self.solo, self.gain] * 2
        others = [self.monitor] * 3 + [self.equal, self.views, self.seek, self.stop, self.open, self.mix]
        rare = [self.device, self.kill_engine, self.kill_meter]
        action = self.dice.choice(rare if self.dice.random() < 0.03 else usual + others)
        action()
        self.counts[action.__name__] += 1
        time.sleep(self.dice.choice([0.0, 0.02, 0.05, 0.1]))
        if not self.player.state().playing:
            try:
                self.player.play()
            except EngineFailed:
                time.sleep(0.5)

    def open(self) -> None:
        level_db = self.dice.choice(LEVELS_DB)
        self.session = take(self.folder / f"take{level_db:g}", level_db)
        self.player.load(self.session)

    def switch(self) -> None:
        self.player.select(self.dice.choice([ORIGINAL_ID, "v1", "v2", "v3"]))

    def flip(self) -> None:
        self.session = replace(self.session, current_version_id=self.dice.choice(["v1", "v2", "v3"]))
        lane = self.dice.choice(LANES)
        self._edit(edits.with_polarity(self.session, lane, -self.session.current_version.move(lane).polarity))

    def mute(self) -> None:
        lane = self.dice.choice(LANES)
        self._edit(edits.with_mute(self.session, lane, not self.session.current_version.balance(lane).mute))

    def solo(self) -> None:
        lane = self.dice.choice(LANES)
        self._edit(edits.with_solo(self.session, lane, not self.session.lane(lane).solo))

    def gain(self) -> None:
        self._edit(edits.with_gain(self.session, self.dice.choice(LANES), self.dice.uniform(-40.0, 12.0)))

    def equal(self) -> None:
        self._edit(replace(self.session, level_match=not self.session.level_match))

    def monitor(self) -> None:
        self.player.set_monitor_gain(self.dice.uniform(-45.0, 12.0))

    def views(self) -> None:
        self.dim, self.difference, self.mono, self.same_moment = (self.dice.random() < 0.3 for _ in range(4))
        self.player.set_dim(self.dim)
        self.player.set_difference(self.difference)
        self.player.set_mono(self.mono)
        self.player.set_same_moment(self.same_moment)

    def mix(self) -> None:
        """As when the combinations board is opened or left."""
        self.player.mix_from_lanes(self.dice.random() < 0.7)

    def seek(self) -> None:
        self.player.seek(self.dice.randrange(20 * RATE_HZ))

    def stop(self) -> None:
        self.player.stop()

    def device(self) -> None:
        self.player.set_device(NAME, block_frames=self.dice.choice([128, 256, 512]))

    def kill_engine(self) -> None:
        if self.player.engine_pid is not None:
            os.kill(self.player.engine_pid, signal.SIGKILL)
            time.sleep(0.5)

    def kill_meter(self) -> None:
        for child in multiprocessing.active_children():
            if child.name == "lagline levels" and child.pid is not None:
                os.kill(child.pid, signal.SIGKILL)

    def _edit(self, session: object) -> None:
        self.session = session  # type: ignore[assignment]
        self.player.load(self.session)


def run(folder: Path, actions: int, seed: int) -> Outcome:
    """Needs the capture device: ALSA_CONFIG_PATH is set here, and read once by a process."""
    os.environ["ALSA_CONFIG_PATH"] = configuration(folder, file_each=True)
    person = Person(folder, seed)
    try:
        for _ in range(actions):
            person.act()
    finally:
        person.player.close()
    sent = captured(folder)
    rise_db, _ = steepest_rise_db(levels := heard_lufs(sent, RATE_HZ))
    top = float(np.abs(sent).max())
    heard_s = len(levels) * 0.02
    return Outcome(rise_db, 20 * math.log10(top), heard_s, dict(person.counts))


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--actions", type=int, default=1000)
    arguments.add_argument("--seed", type=int, default=1)
    given = arguments.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        outcome = run(Path(folder), given.actions, given.seed)
    print(f"{given.actions} actions, {outcome.heard_s:.0f} s heard: {outcome.counts}")
    print(f"steepest rise {outcome.rise_db:.2f} dB in a second, peak {outcome.peak_dbfs:.2f} dBFS")


if __name__ == "__main__":
    main()
