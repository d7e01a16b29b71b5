"""Sound devices. The only file that knows sounddevice, and through it PortAudio."""

from __future__ import annotations

import contextlib
import os
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Protocol

import numpy as np

from lagline.errors import DeviceUnavailable, NoOutput
from lagline.playback.protocol import DeviceChoice, OutputDevice
from lagline.playback.pulse import Pulse
from lagline.playback.rates import RateBridge
from lagline.playback.reels import FloatArray

BLOCK_FRAMES = 256
Fill = Callable[[FloatArray], None]


class Output(Protocol):
    """An open output that asks for sound by itself."""

    name: str
    rate_hz: int
    block_frames: int
    latency_s: float
    is_silent: bool

    def is_alive(self) -> bool:
        """False once it has stopped asking without being closed."""
        ...

    def close(self) -> None:
        """Stop and let the device go; no callback runs after it returns."""


def output_devices() -> tuple[OutputDevice, ...]:
    """The outputs of this machine, the default one first. Empty without PortAudio or without a device."""
    try:
        sounddevice = _sounddevice()
    except DeviceUnavailable:
        return ()
    try:
        with _quiet():
            found, systems = list(sounddevice.query_devices()), sounddevice.query_hostapis()
            default = sounddevice.default.device[1]
    except _errors():
        return ()
    outputs = [
        OutputDevice(
            name=_full_name(device, systems),
            channels=device["max_output_channels"],
            rate_hz=round(device["default_samplerate"]),
            is_default=device["index"] == default,
        )
        for device in found
        if device["max_output_channels"] > 0
    ]
    return tuple(sorted(outputs, key=lambda output: not output.is_default))


def sound_system() -> str:
    """PortAudio's version in its own words. Raises DeviceUnavailable where it is not installed."""
    return str(_sounddevice().get_portaudio_version()[1])


def look_again() -> None:
    """Notice devices plugged in or pulled out. Only while no output is open."""
    with contextlib.suppress(DeviceUnavailable):
        sounddevice = _sounddevice()
        # Where the sound system itself is gone, the next open says so in words.
        with _quiet(), contextlib.suppress(*_errors()):
            sounddevice._terminate()
            sounddevice._initialize()


def open_output(choice: DeviceChoice, rate_hz: int, fill: Fill, pulse: Pulse) -> Output:
    """Open and start an output that calls `fill` for sound at `rate_hz`.

    A device that cannot run at that rate gets the sound converted to its own. One that cannot be opened is
    looked for again first: PortAudio knows only what was plugged in when it was loaded. So no other output
    may be open.

    Raises
    ------
    DeviceUnavailable
        It is not there, is in use elsewhere, refuses the format, or PortAudio is not installed.
    NoOutput
        None was named, and this machine has none.
    """
    try:
        return _PortAudioOutput(choice, rate_hz, fill, pulse)
    except DeviceUnavailable:
        look_again()
        return _PortAudioOutput(choice, rate_hz, fill, pulse)


class _PortAudioOutput:
    is_silent = False

    def __init__(self, choice: DeviceChoice, rate_hz: int, fill: Fill, pulse: Pulse) -> None:
        sounddevice = _sounddevice()
        wanted = choice.name or "The default output"
        try:
            with _quiet():
                device = _find(sounddevice, choice.name)
                self.name = _full_name(device, sounddevice.query_hostapis())
                channels = min(2, device["max_output_channels"])
                self.rate_hz = _rate(sounddevice, device, (choice.rate_hz or rate_hz, rate_hz), channels)
                if self.rate_hz != rate_hz:
                    fill = RateBridge(fill, rate_hz, self.rate_hz).fill
                self._stream = sounddevice.OutputStream(
                    samplerate=self.rate_hz,
                    blocksize=choice.block_frames or BLOCK_FRAMES,
                    device=device["index"],
                    channels=channels,
                    dtype="float32",
                    latency="low",
                    callback=_callback(fill, channels, pulse),
                )
                try:
                    pulse.start(self.rate_hz)
                    self._stream.start()
                except BaseException:
                    self._stream.close()  # or the device would stay taken
                    raise
        except _errors() as error:
            raise DeviceUnavailable(wanted, _reason(error)) from error
        self.block_frames: int = self._stream.blocksize or BLOCK_FRAMES
        self.latency_s = float(self._stream.latency)

    def is_alive(self) -> bool:
        try:
            return bool(self._stream.active)
        except _errors():
            return False

    def close(self) -> None:
        with _quiet(), contextlib.suppress(*_errors()):
            self._stream.close()


class SilentClock:
    """Asks for sound in time and throws it away, so that everything works without a device."""

    is_silent = True
    latency_s = 0.0

    def __init__(self, rate_hz: int, block_frames: int | None, fill: Fill, pulse: Pulse, pace: bool) -> None:
        self.name = "no sound (silent clock)"
        self.rate_hz = rate_hz
        self.block_frames = block_frames or BLOCK_FRAMES
        self._fill = fill
        self._pulse = pulse
        self._pace = pace
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="silent clock", daemon=True)
        pulse.start(rate_hz)
        self._thread.start()

    def is_alive(self) -> bool:
        """Whether the clock still asks for blocks."""
        return self._thread.is_alive()

    def close(self) -> None:
        """Stop the clock; no callback runs after it returns."""
        self._closing.set()
        self._thread.join()

    def _run(self) -> None:
        block = np.zeros((self.block_frames, 2), np.float32)
        due = time.perf_counter()
        while not self._closing.is_set():
            with self._pulse.beat(self.block_frames):
                self._fill(block)
            due += self.block_frames / self.rate_hz
            wait = due - time.perf_counter()
            if not self._pace:
                continue
            if wait > 0:
                time.sleep(wait)
            elif wait < -1.0:  # the machine slept: go on from now instead of racing after
                due = time.perf_counter()


def _callback(fill: Fill, channels: int, pulse: Pulse) -> Callable[[FloatArray, int, Any, Any], None]:
    def stereo(out: FloatArray, frames: int, when: Any, status: Any) -> None:
        if status and status.output_underflow:
            pulse.underrun()
        with pulse.beat(frames):
            fill(out)

    both = np.zeros((1 << 16, 2), np.float32)

    def mono(out: FloatArray, frames: int, when: Any, status: Any) -> None:
        stereo(both[:frames], frames, when, status)
        np.mean(both[:frames], axis=1, keepdims=True, out=out)

    return stereo if channels == 2 else mono


def _find(sounddevice: Any, name: str | None) -> Any:
    if name is None:
        if sounddevice.default.device[1] < 0:
            raise NoOutput("The default output", "this machine offers none")
        return sounddevice.query_devices(kind="output")
    systems = sounddevice.query_hostapis()
    for device in sounddevice.query_devices():
        if device["max_output_channels"] > 0 and name in (device["name"], _full_name(device, systems)):
            return device
    raise ValueError("it is not plugged in or not switched on")


def _rate(sounddevice: Any, device: Any, wanted_hz: Iterable[int], channels: int) -> int:
    """The first wanted rate that the device runs at, else its own."""
    for rate_hz in wanted_hz:
        with contextlib.suppress(*_errors()):
            sounddevice.check_output_settings(
                device=device["index"], channels=channels, dtype="float32", samplerate=rate_hz
            )
            return rate_hz
    return int(device["default_samplerate"])


def _full_name(device: Any, systems: Any) -> str:
    return f"{device['name']} ({systems[device['hostapi']]['name']})"


def _sounddevice() -> Any:
    try:
        with _quiet():
            import sounddevice
    except (ImportError, OSError) as error:
        raise DeviceUnavailable("Sound output", f"PortAudio is not installed: {error}") from error
    return sounddevice


def _errors() -> tuple[type[Exception], ...]:
    """What sounddevice raises, ValueError for unknown devices included."""
    module = sys.modules.get("sounddevice")
    return (ValueError, module.PortAudioError) if module else (ValueError,)


def _reason(error: Exception) -> str:
    return str(error.args[0] if error.args else error).removesuffix(".")


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep the chatter that sound libraries print on the error stream off the user's terminal."""
    try:
        kept = os.dup(2)
    except OSError:  # a window without a terminal has no error stream
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)
