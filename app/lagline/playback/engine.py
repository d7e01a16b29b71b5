"""The engine process: obeys commands, keeps an output open, feeds it, reports."""

from __future__ import annotations

import gc
import math
import signal
import sys
import threading
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any

from msgspec.structs import replace

from lagline.blend.clips import open_clips
from lagline.errors import DeviceUnavailable, NoOutput
from lagline.media.true_peak import TruePeakStream
from lagline.playback import device, protocol
from lagline.playback.board import Board, Field
from lagline.playback.feeder import ClipOpener, Feeder
from lagline.playback.helper import last_words
from lagline.playback.mixer import METER_FALL_DB_PER_S, Mixer
from lagline.playback.priority import Priority, come_first
from lagline.playback.pulse import Pulse
from lagline.playback.reels import FloatArray
from lagline.playback.views import Wanted

TICK_S = 0.02
PATIENCE_S = 2.0
# A thread that wants the interpreter interrupts the one that has it after this part of a block. Shorter, and
# callbacks are interrupted themselves; longer, and they begin late. Python's own 5 ms is a whole block.
SWITCH_AFTER_BLOCKS = 0.2

Opener = Callable[[protocol.DeviceChoice, int, device.Fill, Pulse], device.Output]


def engine_main(connection: Connection, numbers: Any, settings: protocol.Settings) -> None:
    """Entry point of the process: runs until told to quit or until the desk is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C in a terminal is the desk's to answer
    priority = come_first()
    board = Board()
    board.numbers = numbers
    try:
        with last_words(connection.send):
            Engine(connection, board, settings, owns_process=True, priority=priority).run()
    finally:
        connection.close()


def _tune_interpreter(block_s: float) -> None:
    """Make Python a better place for a callback that comes every `block_s` seconds."""
    sys.setswitchinterval(SWITCH_AFTER_BLOCKS * block_s)
    # A full garbage collection looks at everything numpy and PortAudio have loaded, some 30 ms in which no
    # callback runs. None of that is ever garbage.
    gc.freeze()


class Engine:
    """One mixer, one feeder thread, one output.

    Threads: this one answers commands and watches; the feeder's renders; the output's own calls the mixer.
    `open_output` and `clip_opener` are replaced in tests. `owns_process`: the interpreter may be tuned.
    `priority`: what the system gave, to be told.
    """

    def __init__(
        self,
        connection: Connection,
        board: Board,
        settings: protocol.Settings,
        *,
        open_output: Opener = device.open_output,
        clip_opener: ClipOpener = open_clips,
        owns_process: bool = False,
        priority: Priority = "ordinary",
    ) -> None:
        self._connection = connection
        self._board = board
        self._settings = settings
        self._open_output = open_output
        self._clip_opener = clip_opener
        self._owns_process = owns_process
        self._priority = priority
        self._choice = protocol.DeviceChoice()
        self._deck: _Deck | None = None
        self._output: device.Output | None = None
        self._sending = threading.Lock()  # the feeder reports unreadable recordings from its thread
        self._running = True
        self._over = 0  # token of the last play that ended by itself
        self._peaks = TruePeakStream()
        self._peaks_read = 0
        self._ticked = time.perf_counter()

    def run(self) -> None:
        """Obey commands and keep the reels filled until told to quit, or until the desk is gone."""
        try:
            while self._running:
                if self._connection.poll(TICK_S if self._deck else None):  # a spare engine sleeps
                    self._obey(self._connection.recv())
                self._tick()
        except (EOFError, BrokenPipeError, ConnectionResetError):
            pass  # the desk is gone, and with it the reason to play
        finally:
            self._close_output()
            if self._deck:
                self._deck.close()

    def _obey(self, command: protocol.Command) -> None:
        match command:
            case protocol.Show(material):
                self._deck_at(material.session.rate_hz).feeder.show(material)
            case protocol.Jump(position, token):
                if self._deck:
                    self._deck.feeder.jump(position, token)
            case protocol.Want(wanted):
                self._want(wanted)
            case protocol.UseDevice(choice):
                self._choice = choice
                if self._deck:
                    self._open()
            case protocol.ListDevices():
                if self._output is None or self._output.is_silent:
                    device.look_again()
                self._tell(protocol.DevicesFound(device.output_devices()))
            case protocol.Quit():
                self._running = False

    def _want(self, wanted: Wanted) -> None:
        if wanted.playing and wanted.play <= self._over:  # sent before the desk knew
            wanted = replace(wanted, playing=False)
        if self._deck:
            self._deck.mixer.wanted = wanted
            self._deck.feeder.woken.set()

    def _deck_at(self, rate_hz: int) -> _Deck:
        """The mixer and feeder at this rate; another rate takes new ones."""
        if self._deck is None or self._deck.mixer.rate_hz != rate_hz:
            self._close_output()
            if self._deck:
                self._deck.close()
            self._deck = _Deck(rate_hz, self._board, self._clip_opener, self._say, self._settings.speed)
            self._peaks_read = 0
            self._open()
        return self._deck

    def _open(self) -> None:
        """Open the chosen output, or keep time without one and say why."""
        assert self._deck is not None
        self._close_output()
        self._board[Field.UNDERRUNS] = self._board[Field.STARVED] = 0.0  # they are this output's
        mixer, pulse = self._deck.mixer, Pulse(self._board)
        mixer.openings += 1  # nobody knows how loud this one is
        fill = self._deck.patient_fill if self._settings.patient else mixer.fill
        if self._choice.name != protocol.SILENT_CLOCK:
            try:
                self._output = self._open_output(self._choice, mixer.rate_hz, fill, pulse)
            except NoOutput:
                pass  # no fault: `InUse` tells that the clock is silent, and the desk says so calmly
            except DeviceUnavailable as error:
                self._say(f"{error} Until then there is no sound; everything else works.")
        if self._output is None:
            frames = self._choice.block_frames
            self._output = device.SilentClock(mixer.rate_hz, frames, fill, pulse, self._settings.pace)
        output = self._output
        if self._owns_process:
            _tune_interpreter(output.block_frames / output.rate_hz)
        mixer.latency_frames = round(output.latency_s * mixer.rate_hz)
        self._deck.feeder.block_frames = output.block_frames
        self._tell(
            protocol.InUse(
                output.name,
                output.rate_hz,
                output.block_frames,
                output.latency_s + mixer.delay_frames / mixer.rate_hz,
                output.is_silent,
                self._priority,
            )
        )

    def _close_output(self) -> None:
        output, self._output = self._output, None
        if output is not None:
            output.close()

    def _tick(self) -> None:
        """What is due now and then: the end of the take, a device that is gone, slow meters."""
        if self._deck is None or self._output is None:
            return
        mixer = self._deck.mixer
        if not self._output.is_alive():
            name = self._output.name
            self._stop(mixer, at_end=False, jump=int(self._board[Field.JUMP]))
            self._say(f"{name} has gone away and playing was stopped. Plug it in again, or choose another.")
            self._choice = protocol.DeviceChoice(
                protocol.SILENT_CLOCK, block_frames=self._choice.block_frames
            )
            self._open()
        jump, ended = int(self._board[Field.JUMP]), self._board[Field.ENDED]  # in this order: see Stopped
        if mixer.wanted.playing and mixer.wanted.play == ended and mixer.wanted.jump <= jump:
            self._stop(mixer, at_end=True, jump=jump)
        if self._deck.feeder_error is not None:
            raise self._deck.feeder_error
        self._measure_true_peak(mixer)

    def _stop(self, mixer: Mixer, *, at_end: bool, jump: int) -> None:
        """End this play, for whoever asked for it and for wishes that are still on their way."""
        self._over = mixer.wanted.play
        mixer.wanted = replace(mixer.wanted, playing=False)
        self._tell(protocol.Stopped(at_end, self._over, jump))

    def _measure_true_peak(self, mixer: Mixer) -> None:
        now = time.perf_counter()
        if now - self._ticked < TICK_S:
            return
        fall = 10.0 ** (METER_FALL_DB_PER_S * (now - self._ticked) / -20.0)
        self._ticked = now
        samples, self._peaks_read = mixer.tap.since(self._peaks_read)
        peak = self._peaks.peak(samples)
        self._board[Field.TRUE_PEAK] = max(peak, self._board[Field.TRUE_PEAK] * fall)

    def _say(self, message: str) -> None:
        self._tell(protocol.Said(message))

    def _tell(self, event: protocol.Event) -> None:
        with self._sending:
            self._connection.send(event)


class _Deck:
    """A mixer and the thread that feeds it, at one rate."""

    def __init__(
        self,
        rate_hz: int,
        board: Board,
        clip_opener: ClipOpener,
        say: Callable[[str], None],
        speed: float | None = None,
    ) -> None:
        self.mixer = Mixer(rate_hz, board)
        self._pace_hz = rate_hz * speed if speed else math.inf
        self._due = 0.0
        self.feeder = Feeder(self.mixer, clip_opener, say)
        self.feeder_error: Exception | None = None
        self._closing = False
        self._thread = threading.Thread(target=self._feed, name="feeder", daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._closing = True
        self.feeder.woken.set()
        self._thread.join()

    def patient_fill(self, out: FloatArray) -> None:
        """Fill as the mixer does, but wait for what is not rendered yet; not for ever."""
        deadline = time.perf_counter() + PATIENCE_S
        while not self.mixer.is_supplied(len(out)) and time.perf_counter() < deadline:
            self.feeder.woken.set()
            time.sleep(0.0005)
        now = time.perf_counter()
        if self._due > now:
            time.sleep(self._due - now)
        self._due = max(self._due, now) + len(out) / self._pace_hz
        self.mixer.fill(out)

    def _feed(self) -> None:
        try:
            while not self._closing:
                self.feeder.woken.clear()
                if not self.feeder.work():
                    self.feeder.woken.wait(0.004)
        except Exception as error:  # noqa: BLE001 (handed to the main thread, which ends the process with it)
            self.feeder_error = error
