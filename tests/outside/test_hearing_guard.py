"""The hearing guard on the real device path: what PortAudio was handed, judged as an ear would judge it.

Levels are K-weighted (ITU-R BS.1770-4) over 200 ms. The takes are steady noise, so that whatever becomes
louder was made louder by what is done here.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace
from tests.support.alsa_capture import NAME, captured, configuration, require_portaudio
from tests.support.hearing import heard_lufs, steepest_rise_db
from tests.support.loud_takes import RATE_HZ, take
from tests.support.playback_processes import until

from lagline.playback.board import Field
from lagline.playback.guard import START_LUFS
from lagline.playback.player import Player
from lagline.playback.protocol import Settings
from lagline.session import edits
from lagline.session.values import Session

PROMISED_DB = 6.0
SPEED = 10.0
UNSURE_DB = 0.5  # of the level of 200 ms of noise


class Rig:
    """A player on the capture device. Times are of sound: the device runs faster than the clock."""

    def __init__(self, folder: Path, session: Session) -> None:
        self.folder = folder
        self.player = Player(Settings(patient=True, speed=SPEED))
        self.player.load(session)
        self.player.set_device(NAME)

    def hear(self, seconds: float) -> None:
        """Go on until so much more was played."""
        board = self.player.board
        goal = board[Field.HEARD_FRAMES] + seconds * RATE_HZ
        until(lambda: board[Field.HEARD_FRAMES] >= goal)

    def levels(self) -> np.ndarray:
        self.player.close()
        return heard_lufs(captured(self.folder), RATE_HZ)


@pytest.fixture
def rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Rig]:
    require_portaudio()
    monkeypatch.setenv("ALSA_CONFIG_PATH", configuration(tmp_path, file_each=True))
    made = Rig(tmp_path, take(tmp_path / "quiet", -30.0))
    yield made
    made.player.close()


def stopped_meter() -> int:
    """The loudness process, held still: as on a machine that has no time for it."""
    until(lambda: any(child.name == "lagline levels" for child in multiprocessing.active_children()))
    (meter,) = [child for child in multiprocessing.active_children() if child.name == "lagline levels"]
    assert meter.pid is not None
    os.kill(meter.pid, signal.SIGSTOP)
    return meter.pid


def assert_gentle(levels: np.ndarray, *, by_at_least_db: float | None = None) -> None:
    rise_db, at = steepest_rise_db(levels)
    assert rise_db <= PROMISED_DB + UNSURE_DB, f"{rise_db:.1f} dB within the second before window {at}"
    if by_at_least_db is not None:
        assert levels[-1] - levels.min() >= by_at_least_db, "nothing became louder, so nothing was tested"


def test_a_switch_before_loudness_is_known(rig: Rig):
    rig.player.prepare()
    pid = stopped_meter()
    rig.player.play()
    rig.hear(4.0)
    rig.player.select("v1")  # 46 dB louder
    rig.hear(4.0)
    levels = rig.levels() if os.kill(pid, signal.SIGKILL) is None else None
    assert levels is not None
    assert_gentle(levels)
    assert levels.max() < levels[10:50].mean() + 2.0, "held to the quieter one until more is known"


def test_the_loudness_process_is_killed(rig: Rig):
    until(lambda: rig.player.state().levels_known)
    rig.player.play()
    rig.hear(3.0)
    (meter,) = [child for child in multiprocessing.active_children() if child.name == "lagline levels"]
    assert meter.pid is not None
    rig.player.load(edits.with_gain(take(rig.folder / "quiet", -30.0), "c", 1.0))
    os.kill(meter.pid, signal.SIGKILL)
    until(lambda: "could not be measured" in rig.player.state().message)
    for version_id in ("v1", "original", "v1"):
        rig.player.select(version_id)
        rig.hear(2.0)
    levels = rig.levels()
    assert_gentle(levels)
    assert np.ptp(levels[20:]) < 3.0, "the last gains go on matching"


def test_a_flip_by_hand(rig: Rig):
    rig.player.select("v2")
    session = edits.with_polarity(replace(take(rig.folder / "quiet", -30.0), level_match=False), "b", 1)
    nearly_null = edits.with_shift(replace(session, current_version_id="v2"), "b", 0.0)
    rig.player.load(nearly_null)
    rig.player.play()
    rig.hear(3.0)
    rig.player.load(edits.with_polarity(nearly_null, "b", -1))
    rig.hear(11.0)
    assert_gentle(rig.levels(), by_at_least_db=30.0)


def test_a_take_40_db_louder(rig: Rig):
    rig.player.select("v1")
    rig.player.play()
    rig.hear(2.0)
    rig.player.load(take(rig.folder / "loud", +10.0))
    until(lambda: rig.player.state().levels_known)
    rig.player.select("v1")
    rig.player.play()
    rig.hear(10.0)
    levels = rig.levels()
    assert_gentle(levels, by_at_least_db=25.0)


def test_another_device_with_the_monitor_at_its_loudest(rig: Rig):
    rig.player.select("v1")
    rig.player.load(replace(take(rig.folder / "quiet", -30.0), level_match=False))
    rig.player.set_monitor_gain(12.0)
    rig.player.play()
    rig.hear(9.0)
    opened = rig.player.board[Field.BLOCK_FRAMES]
    rig.player.set_device(NAME, block_frames=512)
    until(lambda: rig.player.board[Field.BLOCK_FRAMES] != opened)
    rig.hear(9.0)
    levels = rig.levels()
    assert_gentle(levels, by_at_least_db=25.0)
    falls = np.flatnonzero(np.diff(levels) < -10.0)
    assert len(falls) and levels[falls[-1] + 10] < START_LUFS + 8.0, "the other device began low"


def test_nothing_exceeds_the_engineers_ceiling(rig: Rig):
    rig.player.load(replace(take(rig.folder / "quiet", -30.0), level_match=False))
    rig.player.set_guard(20.0, -24.0)
    rig.player.select("v1")
    rig.player.set_monitor_gain(12.0)
    rig.player.play()
    rig.hear(5.0)
    rig.player.close()
    top = np.abs(captured(rig.folder)).max()
    assert 20 * np.log10(top) == pytest.approx(-24.0, abs=0.1) and top <= 10 ** (-24 / 20)
