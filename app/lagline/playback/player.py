"""The desk's handle on playback: says what is wanted, keeps the engine alive, knows how things stand."""

from __future__ import annotations

import threading
import time
from multiprocessing.connection import wait
from types import TracebackType
from typing import Any

from msgspec.structs import replace

from lagline.errors import EngineFailed
from lagline.playback import protocol
from lagline.playback.board import Board, Field
from lagline.playback.engine import engine_main
from lagline.playback.feeder import Material
from lagline.playback.heard import ready_versions, same_take, what_is_heard
from lagline.playback.helper import Helper, spawn_context
from lagline.playback.level_watch import LevelWatch
from lagline.playback.state import PlayState, board_part
from lagline.playback.views import View, Wanted
from lagline.session.values import ORIGINAL_ID, Session
from lagline.units import db_to_gain, gain_to_db

START_GAIN_DB = -20.0  # at every launch: nobody's ears should meet last week's volume
QUIETEST_GAIN_DB, LOUDEST_GAIN_DB = -60.0, 12.0
MOST_RESTARTS, RESTARTS_WITHIN_S = 3, 10.0
ANSWER_WITHIN_S = 5.0


class Player:
    """Plays a session in an engine process, without Qt. Any thread may call it; nothing waits for sound.

    The engine is started by the first `play` (or `devices`), started again when it dies, and told
    everything anew. `state` is cheap enough for every repaint. Call `close` at the end.
    """

    def __init__(self, settings: protocol.Settings | None = None, *, measure_levels: bool = True) -> None:
        self._settings = settings or protocol.Settings()
        self._lock = threading.RLock()
        self._context = spawn_context()
        self._board = Board(self._context)
        self._engine: Helper | None = None
        self._levels = LevelWatch(self._context) if measure_levels else None
        self._watcher: threading.Thread | None = None
        self._ear, self._mouth = self._context.Pipe(duplex=False)  # wakes the watcher
        self._closing = threading.Event()
        self._session: Session | None = None
        self._loop: tuple[int, int] | None = None
        self._material: Material | None = None
        self._recent: tuple[str, ...] = ()
        self._wanted = Wanted(monitor_gain=db_to_gain(START_GAIN_DB))
        self._choice = protocol.DeviceChoice()
        self._in_use: protocol.InUse | None = None
        self._jump_to, self._token = 0, 0
        self._at_end = self._lost = False
        self._hidden = False
        self._matching = True
        self._devices: tuple[protocol.OutputDevice, ...] = ()
        self._devices_found = threading.Event()
        self._message, self._message_count = "", 0
        self._restarts: list[float] = []

    # What to play

    def load(self, session: Session) -> None:
        """Play this session from now on. While playing, an edit is heard within 150 ms.

        Call it after every edit; what cannot be heard costs nothing. The session's loop and level match are
        taken over when they change. Another take stops and goes back to its beginning.
        """
        with self._lock:
            before, self._session = self._session, session
            new_take = before is None or not same_take(before, session)
            if before is None or before.loop != session.loop or new_take:
                self._loop = session.loop
            if before is None or before.level_match != session.level_match:
                self._matching = session.level_match
            if new_take:
                if self._levels:
                    self._levels.forget()
                self._want(
                    playing=False, view=View(mono=self._wanted.view.mono, turn=self._wanted.view.turn + 1)
                )
            ids = (ORIGINAL_ID, *(version.id for version in session.versions))
            if self._wanted.view.version_id not in ids:
                self._want(view=View(mono=self._wanted.view.mono, turn=self._wanted.view.turn + 1))
            self._show()
            if new_take:
                self.seek(session.loop[0] if session.loop else 0)

    def set_loop(self, loop: tuple[int, int] | None) -> None:
        """Go round from start to stop (session samples), or no longer. Playing outside goes to its start."""
        if loop is not None and loop[0] >= loop[1]:
            raise ValueError("a loop ends after it starts")
        with self._lock:
            self._loop = loop
            self._show()

    # Transport

    def play(self) -> None:
        """Start, where it stopped; from the top at the end of the take; in a loop, inside it.

        Raises EngineFailed when there is nothing to play.
        """
        with self._lock:
            if self._session is None:
                raise EngineFailed("no take is open")
            here, loop = self._position(), self._loop
            if loop is not None and not loop[0] <= here < loop[1]:
                self.seek(loop[0])
            elif self._at_end:
                self.seek(0)
            self._start_engine()
            if self._lost:
                self._lost = False
                self._tell(protocol.UseDevice(self._choice))
            self._want(playing=True)

    def stop(self) -> None:
        """Stop where it is; `play` goes on from there."""
        with self._lock:
            self._want(playing=False)

    def seek(self, position: int) -> None:
        """Go to a session time, in samples."""
        with self._lock:
            self._at_end = False
            self._jump_to, self._token = position, self._token + 1
            self._tell(protocol.Jump(position, self._token))
            self._want(jump=self._token)

    # What is heard

    def select(self, version_id: str) -> None:
        """Hear the original or a version. Raises NotInSession.

        In a blind trial every call dips, even to what is heard already.
        """
        with self._lock:
            if self._session is not None:
                self._session.version(version_id)
            view = self._wanted.view
            if version_id != view.version_id or self._hidden:
                self._recent = (version_id, *(known for known in self._recent if known != version_id))
                self._want(view=replace(view, version_id=version_id, turn=view.turn + 1))
                self._show()

    def set_difference(self, difference: bool) -> None:
        """Hear only what the version changes: it minus the original, not level matched."""
        self._set_view(difference=difference)

    def set_mono(self, mono: bool) -> None:
        """Hear both sides averaged: cancellation hides in stereo."""
        self._set_view(mono=mono)

    def set_match(self, matching: bool) -> None:
        """Turn the louder versions down to the quietest, or not."""
        with self._lock:
            self._matching = matching
            self._apply_match()

    def set_monitor_gain(self, gain_db: float) -> None:
        """Volume in dB, limited to QUIETEST_GAIN_DB (silent there) .. LOUDEST_GAIN_DB."""
        limited = min(max(gain_db, QUIETEST_GAIN_DB), LOUDEST_GAIN_DB)
        gain = db_to_gain(limited) if limited > QUIETEST_GAIN_DB else 0.0
        with self._lock:
            self._want(monitor_gain=gain)

    def set_hidden(self, hidden: bool, version_ids: tuple[str, ...] = ()) -> None:
        """Hide from `state` what would give a blind trial away, and keep its versions ready to switch to."""
        with self._lock:
            self._hidden = hidden
            self._recent = (*version_ids, *self._recent)
            self._show()
            if not hidden:
                self._apply_match()

    # Devices

    def devices(self) -> tuple[protocol.OutputDevice, ...]:
        """The machine's outputs, the default one first. Raises EngineFailed without an answer."""
        with self._lock:
            self._devices_found.clear()
            self._start_engine()
            self._tell(protocol.ListDevices())
        if not self._devices_found.wait(ANSWER_WITHIN_S):
            raise EngineFailed("it did not say which devices there are")
        return self._devices

    def set_device(
        self, name: str | None, *, rate_hz: int | None = None, block_frames: int | None = None
    ) -> None:
        """Use another output; None: the machine's default, protocol.SILENT_CLOCK: none."""
        with self._lock:
            self._choice = protocol.DeviceChoice(name, rate_hz, block_frames)
            self._lost = False
            self._tell(protocol.UseDevice(self._choice))

    # How things stand

    def state(self) -> PlayState:
        with self._lock:
            view, hidden, levels = self._wanted.view, self._hidden, self._levels
            return PlayState(
                position=self._position(),
                playing=self._wanted.playing,
                version_id=None if hidden else view.version_id,
                difference=view.difference,
                mono=view.mono,
                monitor_gain_db=gain_to_db(self._wanted.monitor_gain),
                loudness_lufs=dict(levels.lufs) if levels and not hidden else {},
                match_db=dict(levels.match_db) if levels and not hidden else {},
                matching=self._matching,
                measuring=levels is not None and levels.is_measuring,
                message=self._message,
                message_count=self._message_count,
                **board_part(self._board, self._in_use, hidden),  # type: ignore[arg-type]
            )

    @property
    def board(self) -> Board:
        """The engine's numbers, for measurements."""
        return self._board

    @property
    def engine_pid(self) -> int | None:
        """Process id of the engine, while one runs."""
        engine = self._engine
        return engine.pid if engine else None

    def close(self) -> None:
        """End both processes. The player is of no use afterwards."""
        with self._lock:
            if self._closing.is_set():
                return
            self._closing.set()
            self._tell(protocol.Quit())
            self._mouth.send(None)
        if self._watcher is not None:
            self._watcher.join()
        for helper in (self._engine, self._levels):
            if helper is not None:
                helper.close()
        self._engine = None
        self._mouth.close()
        self._ear.close()

    def __enter__(self) -> Player:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # Inside; the lock is held

    def _position(self) -> int:
        if self._engine is None or self._board[Field.JUMP] != self._token:
            return self._jump_to  # asked for, not yet done
        return int(self._board[Field.POSITION])

    def _set_view(self, **changes: bool) -> None:
        with self._lock:
            view = self._wanted.view
            changed = replace(view, **changes)
            if changed != view:
                self._want(view=replace(changed, turn=view.turn + 1))

    def _want(self, **changes: Any) -> None:
        wanted = replace(self._wanted, **changes)
        if wanted != self._wanted:
            self._wanted = wanted
            self._tell(protocol.Want(wanted))

    def _show(self) -> None:
        """Tell the engine what to play and the meter what to measure, where that has changed."""
        session = self._session
        if session is None:
            return
        heard = what_is_heard(replace(session, loop=self._loop))
        versions = ready_versions(heard, (self._wanted.view.version_id, *self._recent))
        material = Material(heard, versions, self._loop)
        before, self._material = self._material, material
        if material != before:
            self._tell(protocol.Show(material))
        if self._levels and (before is None or heard != before.session):
            self._levels.note(heard)
            self._watch()

    def _tell(self, command: protocol.Command) -> None:
        if self._engine is not None:
            self._engine.send(command)

    def _start_engine(self) -> None:
        """Start the engine unless it runs, and tell it everything."""
        if self._engine is not None or self._closing.is_set():
            return
        self._board[Field.ENDED] = self._board[Field.JUMP] = 0.0
        numbers, settings = self._board.numbers, self._settings
        self._engine = Helper(self._context, "lagline playback", engine_main, numbers, settings)
        self._tell(protocol.UseDevice(self._choice))
        if self._material is not None:
            self._tell(protocol.Show(self._material))
        self.seek(self._jump_to)
        self._tell(protocol.Want(self._wanted))
        self._watch()

    def _apply_match(self) -> None:
        if self._hidden:  # levels stay as they are within a trial (ITU-R BS.1534-3)
            return
        gains: dict[str, float] = {}
        if self._matching and self._levels:
            gains = {key: db_to_gain(db) for key, db in self._levels.match_db.items()}
        self._want(match_gains=gains)

    def _say(self, message: str) -> None:
        self._message = message
        self._message_count += 1

    # The watcher thread: hears from both processes, finds them dead, asks for levels when edits rest

    def _watch(self) -> None:
        if self._watcher is None:
            self._watcher = threading.Thread(target=self._keep_watch, name="playback watcher", daemon=True)
            self._watcher.start()
        else:
            self._mouth.send(None)

    def _keep_watch(self) -> None:
        while not self._closing.is_set():
            with self._lock:
                engine, levels = self._engine, self._levels
                sources: list[Any] = [self._ear, *(levels.sources() if levels else ())]
                sources += [engine.connection, engine.sentinel] if engine else []
                timeout = levels.wait_s() if levels else None
            ready = wait(sources, timeout)
            with self._lock:
                if self._ear in ready:
                    self._ear.recv()
                if self._closing.is_set():
                    return
                if engine is not None:
                    self._hear_engine(engine, ready)
                if levels is not None:
                    if levels.hear(ready):
                        self._apply_match()
                    levels.ask_if_due()

    def _hear_engine(self, engine: Helper, ready: list[Any]) -> None:
        for event in engine.heard(ready):
            match event:
                case protocol.InUse():
                    self._in_use = event
                case protocol.Said(message):
                    self._say(message)
                case protocol.Stopped(at_end):
                    self._wanted = replace(self._wanted, playing=False)
                    self._at_end, self._lost = at_end, not at_end
                case protocol.DevicesFound(devices):
                    self._devices = devices
                    self._devices_found.set()
        if not engine.is_alive():
            self._restart_engine(engine)

    def _restart_engine(self, dead: Helper) -> None:
        self._jump_to = self._position()
        dead.close()
        self._engine, self._in_use = None, None
        now = time.monotonic()
        self._restarts = [*(at for at in self._restarts if now - at < RESTARTS_WITHIN_S), now]
        if len(self._restarts) > MOST_RESTARTS:
            self._wanted = replace(self._wanted, playing=False)
            self._say(str(EngineFailed(f"{MOST_RESTARTS} times in a row")))
            return
        self._start_engine()
        self._say("The playback engine stopped unexpectedly and was started again where it was.")
