"""The engine's main loop, in a thread, with an output made up for the test."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from multiprocessing import Pipe
from types import SimpleNamespace

import numpy as np
import pytest
from msgspec.structs import replace
from tests.support.array_clips import ArrayClip, FloatArray, noise_clips, session_of
from tests.support.playback_processes import until

from lagline.blend.mix import blend
from lagline.errors import DeviceUnavailable, NoOutput
from lagline.playback import protocol
from lagline.playback.board import Board, Field
from lagline.playback.engine import Engine
from lagline.playback.feeder import Material
from lagline.playback.guard import NO_LIMIT
from lagline.playback.views import Wanted
from lagline.session.values import Session

RATE_HZ = 48_000


class FakeOutput:
    """An output that asks for sound when the test says so."""

    is_silent = False
    block_frames = 256
    latency_s = 0.01

    def __init__(
        self, choice: protocol.DeviceChoice, rate_hz: int, fill: Callable[[FloatArray], None]
    ) -> None:
        self.name = choice.name or "default"
        self.rate_hz = rate_hz
        self.fill = fill
        self.alive = True
        self.closed = False

    def is_alive(self) -> bool:
        return self.alive

    def close(self) -> None:
        self.closed = True

    def pull(self, frames: int) -> FloatArray:
        out = np.zeros((frames, 2), np.float32)
        for first in range(0, frames, 256):
            self.fill(out[first : first + 256])
        return out

    def pull_until_sound(self, more: int) -> FloatArray:
        """Pull until something sounds (commands arrive when the machine lets them), then some frames more."""
        pulled: list[FloatArray] = []

        def is_heard() -> bool:
            pulled.append(self.pull(256))
            return bool(pulled[-1].any())

        until(is_heard)
        return np.concatenate([pulled[-1], self.pull(more)])


class Rig:
    """An engine running in a thread, and the desk's end of its pipe."""

    def __init__(self, clips: dict[str, ArrayClip], settings: protocol.Settings | None = None) -> None:
        self.clips = clips
        self.outputs: list[FakeOutput] = []
        self.refuse: str | None = None
        self.has_none = False
        self.board = Board()
        self.pipe, theirs = Pipe()
        engine = Engine(
            theirs,
            self.board,
            settings or protocol.Settings(patient=True),
            open_output=self._open,
            clip_opener=lambda _: clips,
        )
        self.thread = threading.Thread(target=engine.run)
        self.thread.start()

    def _open(self, choice, rate_hz, fill, pulse) -> FakeOutput:
        if self.has_none:
            raise NoOutput("The default output", "this machine offers none")
        if self.refuse:
            raise DeviceUnavailable(choice.name or "default", self.refuse)
        self.outputs.append(FakeOutput(choice, rate_hz, fill))
        return self.outputs[-1]

    def tell(self, *commands: protocol.Command) -> None:
        for command in commands:
            self.pipe.send(command)

    def expect(self, kind: type) -> protocol.Event:
        """The next event of a kind; others before it are passed over."""
        while self.pipe.poll(20):
            event = self.pipe.recv()
            if isinstance(event, kind):
                return event
        raise AssertionError(f"no {kind.__name__} came")

    def show(self, session: Session) -> None:
        self.tell(protocol.Show(Material(session, ("original",))))

    def close(self) -> None:
        self.pipe.close()
        self.thread.join(5)
        assert not self.thread.is_alive()


@pytest.fixture
def rig() -> Iterator[Rig]:
    made = Rig(noise_clips(2, RATE_HZ))
    yield made
    made.close()


PLAY = protocol.Want(Wanted(playing=True, monitor_gain=1.0, jump=1, most_rise_db=NO_LIMIT))


def test_it_plays_what_it_is_shown_from_where_it_is_told(rig: Rig):
    session = session_of(rig.clips)
    rig.show(session)
    in_use = rig.expect(protocol.InUse)
    assert in_use.rate_hz == RATE_HZ and not in_use.is_silent and in_use.latency_s > 0.01
    rig.tell(protocol.Jump(4_321, 1), PLAY)
    sent = rig.outputs[0].pull_until_sound(10_000)
    first = int(np.flatnonzero(sent.any(axis=1))[0])
    sent = sent[first + 240 :]
    assert np.array_equal(sent, blend(session, session.original, rig.clips, 4_321 + 240, len(sent)))


def test_a_device_that_goes_away_stops_the_music_and_says_so(rig: Rig):
    rig.tell(protocol.UseDevice(protocol.DeviceChoice("Box")))
    rig.show(session_of(rig.clips))
    rig.expect(protocol.InUse)
    rig.tell(protocol.Jump(0, 1), PLAY)
    rig.outputs[0].pull_until_sound(512)
    rig.outputs[0].alive = False
    assert not rig.expect(protocol.Stopped).at_end
    assert "Box has gone away" in rig.expect(protocol.Said).message
    assert rig.expect(protocol.InUse).is_silent
    assert rig.outputs[0].closed
    rig.tell(protocol.UseDevice(protocol.DeviceChoice("Other")))
    assert rig.expect(protocol.InUse).name == "Other"


@pytest.fixture
def slept_s(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[float]]:
    """How long the silent clock has slept, by a clock that nothing else moves."""
    slept: list[float] = []
    made = SimpleNamespace(perf_counter=lambda: sum(slept), sleep=slept.append)
    monkeypatch.setattr("lagline.playback.device.time", made)
    yield slept


def test_a_device_in_use_elsewhere_leaves_a_silent_clock_that_keeps_time(slept_s: list[float], rig: Rig):
    rig.refuse = "it is used by another program"
    rig.show(session_of(rig.clips))
    said = rig.expect(protocol.Said).message
    assert "used by another program" in said and "Choose another output device" in said
    assert rig.expect(protocol.InUse).is_silent
    before_s = sum(slept_s)
    rig.tell(protocol.Jump(0, 1), PLAY)
    until(lambda: rig.board[Field.POSITION] >= RATE_HZ // 10)
    assert sum(slept_s) - before_s > 0.08


def test_a_machine_without_any_output_is_nothing_to_complain_about(rig: Rig):
    """However early it plays: the desk finds out by itself that there is none, and says so calmly."""
    rig.has_none = True
    rig.show(session_of(rig.clips))
    assert rig.pipe.poll(20)
    first = rig.pipe.recv()  # a complaint would come before it
    assert isinstance(first, protocol.InUse) and first.is_silent
    assert nothing_more(rig, protocol.Said)


def test_the_end_of_the_take_stops(rig: Rig):
    rig.show(session_of(rig.clips))
    rig.expect(protocol.InUse)
    rig.tell(protocol.Jump(RATE_HZ - 2_000, 1), PLAY)
    rig.outputs[0].pull_until_sound(4_000)
    assert rig.expect(protocol.Stopped).at_end


def nothing_more(rig: Rig, kind: type, within_s: float = 0.3) -> bool:
    """No event of a kind comes; the engine looks at everything every 20 ms."""
    while rig.pipe.poll(within_s):
        if isinstance(rig.pipe.recv(), kind):
            return False
    return True


def test_the_end_of_an_earlier_play_does_not_stop_the_next(rig: Rig):
    rig.show(session_of(rig.clips))
    rig.expect(protocol.InUse)
    rig.tell(protocol.Jump(0, 2), protocol.Want(Wanted(playing=True, play=2, monitor_gain=1.0, jump=2)))
    rig.outputs[0].pull_until_sound(512)
    rig.board[Field.ENDED] = 1.0  # the audio thread said so just before it was told of the second play
    assert nothing_more(rig, protocol.Stopped)
    assert rig.outputs[0].pull(1_024).any()


def test_an_end_with_a_jump_on_its_way_is_none(rig: Rig):
    rig.show(session_of(rig.clips))
    rig.expect(protocol.InUse)
    rig.tell(protocol.Jump(0, 1), PLAY)
    rig.outputs[0].pull_until_sound(512)
    rig.board[Field.ENDED] = 1.0
    rig.tell(protocol.Want(Wanted(playing=True, monitor_gain=1.0, jump=2)))
    while rig.pipe.poll(0.3):  # it may have looked in between
        event = rig.pipe.recv()
        assert not isinstance(event, protocol.Stopped) or event.jump == 1


def test_wishes_sent_before_the_end_was_known_start_nothing(rig: Rig):
    rig.show(session_of(rig.clips))
    rig.expect(protocol.InUse)
    rig.tell(protocol.Jump(0, 1), PLAY)
    rig.outputs[0].pull_until_sound(512)
    rig.outputs[0].alive = False
    stopped = rig.expect(protocol.Stopped)
    assert (stopped.at_end, stopped.play, stopped.jump) == (False, 1, 1)
    rig.tell(protocol.UseDevice(protocol.DeviceChoice("Other")))
    assert rig.expect(protocol.InUse).is_silent
    assert rig.expect(protocol.InUse).name == "Other"
    rig.tell(protocol.Want(Wanted(playing=True, monitor_gain=0.5, jump=1)))  # the volume, turned down
    deadline = time.monotonic() + 0.3
    while time.monotonic() < deadline:
        assert not rig.outputs[-1].pull(1_024)[512:].any()
        time.sleep(0.01)


def test_another_rate_takes_a_new_output(rig: Rig):
    rig.show(session_of(rig.clips))
    assert rig.expect(protocol.InUse).rate_hz == RATE_HZ
    for clip in rig.clips.values():
        clip.rate_hz = 96_000
    rig.show(replace(session_of(rig.clips), rate_hz=96_000))
    assert rig.expect(protocol.InUse).rate_hz == 96_000
    assert rig.outputs[0].closed


def test_it_ends_with_the_desk():
    rig = Rig(noise_clips(1, 1_000))
    rig.show(session_of(rig.clips))
    rig.expect(protocol.InUse)
    rig.close()
    assert rig.outputs[0].closed


def test_quit_ends_it():
    rig = Rig(noise_clips(1, 1_000))
    rig.tell(protocol.Quit())
    rig.thread.join(5)
    assert not rig.thread.is_alive()
    rig.close()


def test_a_silent_clock_without_pace_runs_ahead_of_time(slept_s: list[float]):
    rig = Rig(noise_clips(1, 20 * RATE_HZ), protocol.Settings(patient=True, pace=False))
    rig.tell(protocol.UseDevice(protocol.DeviceChoice(protocol.SILENT_CLOCK)))
    rig.show(session_of(rig.clips))
    rig.tell(protocol.Jump(0, 1), PLAY)
    assert rig.expect(protocol.Stopped).at_end
    assert not slept_s and not rig.outputs
    rig.close()
