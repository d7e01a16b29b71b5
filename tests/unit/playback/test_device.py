"""Devices, with a made-up PortAudio behind them: rates it refuses, one channel, none at all."""

from __future__ import annotations

import sys
import threading
import types
from collections.abc import Callable

import numpy as np
import pytest
from tests.support.array_clips import FloatArray

from lagline.errors import DeviceUnavailable, NoOutput
from lagline.playback.board import Board, Field
from lagline.playback.device import SilentClock, look_again, open_output, output_devices
from lagline.playback.protocol import DeviceChoice
from lagline.playback.pulse import Pulse


class PortAudioError(Exception):
    pass


class Stream:
    """Takes the callback and waits to be asked."""

    def __init__(self, **settings: object) -> None:
        vars(self).update(settings)
        self.latency = 0.02
        self.active = False

    def start(self) -> None:
        self.active = True

    def close(self) -> None:
        self.active = False

    def pull(self, frames: int, underflow: bool = False) -> FloatArray:
        out = np.zeros((frames, self.channels), np.float32)
        status = types.SimpleNamespace(output_underflow=underflow) if underflow else None
        self.callback(out, frames, None, status)
        return out


def made_up(devices: list[dict], default: int, rates: set[int]) -> types.ModuleType:
    module = types.ModuleType("sounddevice")
    module.PortAudioError = PortAudioError
    module.OutputStream = Stream
    module.default = types.SimpleNamespace(device=[-1, default])
    module.looked_again = 0

    def query_devices(kind: str | None = None) -> object:
        return devices[default] if kind else devices

    def check_output_settings(device: int, samplerate: int, **_: object) -> None:
        if samplerate not in rates:
            raise PortAudioError("Invalid sample rate", -9997)

    def initialize() -> None:
        module.looked_again += 1

    module.query_devices = query_devices
    module.query_hostapis = lambda: [{"name": "Sound System"}]
    module.check_output_settings = check_output_settings
    module._terminate = lambda: None
    module._initialize = initialize
    return module


def box(name: str, index: int, channels: int = 2, rate_hz: float = 44_100.0) -> dict:
    return {
        "name": name,
        "index": index,
        "hostapi": 0,
        "max_output_channels": channels,
        "default_samplerate": rate_hz,
    }


@pytest.fixture
def install(monkeypatch: pytest.MonkeyPatch) -> Callable[..., types.ModuleType]:
    def put(devices: list[dict], default: int = 0, rates: set[int] | None = None) -> types.ModuleType:
        module = made_up(devices, default, rates or {44_100, 48_000})
        monkeypatch.setitem(sys.modules, "sounddevice", module)
        return module

    return put


def tone(rate_hz: int) -> Callable[[FloatArray], None]:
    at = 0

    def fill(out: FloatArray) -> None:
        nonlocal at
        out[:, 0] = np.sin(2 * np.pi * 1_000 / rate_hz * (at + np.arange(len(out))))
        out[:, 1] = 0.0
        at += len(out)

    return fill


def pitch(samples: np.ndarray, rate_hz: int) -> float:
    return float(np.argmax(np.abs(np.fft.rfft(samples * np.hanning(len(samples))))) * rate_hz / len(samples))


def test_outputs_are_listed_with_the_default_first(install):
    install([box("In only", 0, channels=0), box("Box", 1), box("Screen", 2, rate_hz=48_000.0)], default=2)
    found = output_devices()
    assert [(device.name, device.is_default) for device in found] == [
        ("Screen (Sound System)", True),
        ("Box (Sound System)", False),
    ]
    assert found[1].rate_hz == 44_100


def test_the_session_rate_is_used_where_the_device_can(install):
    install([box("Box", 0)])
    output = open_output(DeviceChoice(), 48_000, tone(48_000), Pulse(Board()))
    assert (output.rate_hz, output.name, output.is_silent) == (48_000, "Box (Sound System)", False)
    assert output._stream.blocksize == 256 and output.is_alive()
    assert pitch(output._stream.pull(4_800)[:, 0], 48_000) == pytest.approx(1_000, abs=15)
    output.close()
    assert not output.is_alive()


@pytest.mark.parametrize("chosen, expected", [(None, 44_100), (96_000, 44_100), (48_000, 44_100)])
def test_a_device_of_another_rate_gets_its_own(install, chosen: int | None, expected: int):
    install([box("Box", 0)], rates={44_100})
    output = open_output(DeviceChoice("Box", rate_hz=chosen), 48_000, tone(48_000), Pulse(Board()))
    assert output.rate_hz == output._stream.samplerate == expected
    assert pitch(output._stream.pull(22_050)[:, 0], expected) == pytest.approx(1_000, abs=5)


def test_a_rate_asked_for_is_used_and_converted_to(install):
    install([box("Box", 0)], rates={44_100, 48_000, 96_000})
    output = open_output(DeviceChoice(rate_hz=96_000, block_frames=64), 48_000, tone(48_000), Pulse(Board()))
    assert output.rate_hz == 96_000 and output.block_frames == 64
    assert pitch(output._stream.pull(48_000)[:, 0], 96_000) == pytest.approx(1_000, abs=5)


def test_a_rate_it_cannot_have_falls_back_to_the_session_rate(install):
    install([box("Box", 0)])
    assert open_output(DeviceChoice(rate_hz=192_000), 48_000, tone(48_000), Pulse(Board())).rate_hz == 48_000


def test_one_channel_gets_the_mean(install):
    install([box("Speaker", 0, channels=1)])
    output = open_output(DeviceChoice(), 48_000, tone(48_000), Pulse(Board()))
    sent = output._stream.pull(480)
    assert sent.shape == (480, 1)
    np.testing.assert_allclose(sent[:, 0], 0.5 * np.sin(2 * np.pi / 48 * np.arange(480)), atol=1e-6)


def test_underflows_are_counted(install):
    install([box("Box", 0)])
    board = Board()
    output = open_output(DeviceChoice(), 48_000, tone(48_000), Pulse(board))
    output._stream.pull(256, underflow=True)
    output._stream.pull(256)
    assert board[Field.UNDERRUNS] == 1 and board[Field.BLOCKS] == 2


def test_a_device_that_is_not_there(install):
    install([box("Box", 0)])
    with pytest.raises(DeviceUnavailable, match=r"Gone .*not plugged in.* Choose another output device"):
        open_output(DeviceChoice("Gone"), 48_000, tone(48_000), Pulse(Board()))


def test_a_device_plugged_in_since_is_found(install, monkeypatch: pytest.MonkeyPatch):
    devices: list[dict] = []
    module = install(devices, default=-1)
    monkeypatch.setattr(module, "_initialize", lambda: devices.append(box("Box", 0)))
    assert open_output(DeviceChoice("Box"), 48_000, tone(48_000), Pulse(Board())).name.startswith("Box")


def test_a_machine_that_has_an_output_now(install, monkeypatch: pytest.MonkeyPatch):
    module = install([box("Box", 0)], default=0)
    module.default.device = [-1, -1]
    monkeypatch.setattr(module, "_initialize", lambda: setattr(module.default, "device", [-1, 0]))
    assert open_output(DeviceChoice(), 48_000, tone(48_000), Pulse(Board())).name.startswith("Box")


def test_what_opens_at_once_is_not_looked_for_again(install):
    module = install([box("Box", 0)])
    open_output(DeviceChoice("Box"), 48_000, tone(48_000), Pulse(Board()))
    assert module.looked_again == 0


def test_a_device_that_refuses(install, monkeypatch: pytest.MonkeyPatch):
    module = install([box("Box", 0)])

    def refuse(**_: object) -> None:
        raise PortAudioError("Error opening OutputStream: Device unavailable", -9985)

    monkeypatch.setattr(module, "OutputStream", refuse)
    with pytest.raises(DeviceUnavailable, match=r"Box cannot be played through .*Device unavailable"):
        open_output(DeviceChoice("Box"), 48_000, tone(48_000), Pulse(Board()))


@pytest.mark.parametrize("choice", [DeviceChoice("Box"), DeviceChoice("Box", block_frames=64)])
def test_a_stream_that_does_not_start_is_closed(install, monkeypatch: pytest.MonkeyPatch, choice):
    """Left open, it would keep the device busy for the next attempt and for every other program."""
    module = install([box("Box", 0)])
    opened: list[Stream] = []
    closed: list[Stream] = []

    class Stubborn(Stream):
        def __init__(self, **settings: object) -> None:
            super().__init__(**settings)
            opened.append(self)

        def start(self) -> None:
            raise PortAudioError("Unanticipated host error", -9999)

        def close(self) -> None:
            closed.append(self)

    monkeypatch.setattr(module, "OutputStream", Stubborn)
    with pytest.raises(DeviceUnavailable, match="Unanticipated host error"):
        open_output(choice, 48_000, tone(48_000), Pulse(Board()))
    assert opened and closed == opened


def test_a_machine_without_outputs(install):
    install([], default=-1)
    assert output_devices() == ()
    with pytest.raises(NoOutput, match="offers none"):
        open_output(DeviceChoice(), 48_000, tone(48_000), Pulse(Board()))


def test_a_machine_without_portaudio(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    assert output_devices() == ()
    look_again()
    with pytest.raises(DeviceUnavailable, match="PortAudio is not installed"):
        open_output(DeviceChoice(), 48_000, tone(48_000), Pulse(Board()))


def test_looking_again_starts_portaudio_anew(install):
    module = install([box("Box", 0)])
    look_again()
    assert module.looked_again == 1


def filled_at(monkeypatch: pytest.MonkeyPatch, blocks: int, held_up: dict[int, float]) -> list[float]:
    """When a silent clock asks for blocks of 10 ms, in seconds of a made-up time that passes while it sleeps.

    held_up : seconds that something else takes, by the number of the block before that.
    """
    now, asked, enough = [0.0], list[float](), threading.Event()

    def passes(seconds: float) -> None:
        now[0] += seconds

    def fill(out: FloatArray) -> None:
        asked.append(now[0])
        passes(held_up.get(len(asked) - 1, 0.0))
        if len(asked) == blocks:
            enough.set()

    made = types.SimpleNamespace(perf_counter=lambda: now[0], sleep=passes)
    monkeypatch.setattr("lagline.playback.device.time", made)
    clock = SilentClock(48_000, 480, fill, Pulse(Board()), pace=True)
    assert enough.wait(30) and clock.is_alive()
    clock.close()
    assert not clock.is_alive()
    return asked[:blocks]


def test_the_silent_clock_keeps_time(monkeypatch: pytest.MonkeyPatch):
    assert filled_at(monkeypatch, 300, {}) == pytest.approx([0.01 * number for number in range(300)])


def test_a_silent_clock_that_was_held_up_makes_up_for_it(monkeypatch: pytest.MonkeyPatch):
    asked = filled_at(monkeypatch, 300, {99: 0.5})
    assert asked[100] == pytest.approx(0.99 + 0.5) and asked[140] == pytest.approx(asked[100])
    assert asked[299] == pytest.approx(2.99)


def test_a_silent_clock_goes_on_from_now_after_the_machine_slept(monkeypatch: pytest.MonkeyPatch):
    asked = filled_at(monkeypatch, 300, {99: 3_600.0})
    assert asked[101] == pytest.approx(3_600.99, abs=0.011)
    assert asked[299] == pytest.approx(asked[101] + 1.98)


def test_a_sound_system_that_breaks_down_while_it_is_looked_at_again_is_no_crash(
    install, monkeypatch: pytest.MonkeyPatch
):
    module = install([])

    def broken() -> None:
        raise module.PortAudioError("Internal PortAudio error")

    monkeypatch.setattr(module, "_initialize", broken)
    with pytest.raises(DeviceUnavailable):
        open_output(DeviceChoice("Box"), 48_000, tone(48_000), Pulse(Board()))
