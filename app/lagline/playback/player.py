"""The desk's handle on playback: says what is wanted, knows how things stand."""

from __future__ import annotations

import logging
import threading
from math import isfinite
from types import TracebackType
from typing import Any

from msgspec.structs import replace

from lagline.errors import EngineFailed
from lagline.playback import protocol
from lagline.playback.board import Board
from lagline.playback.engine_keeper import MOST_RESTARTS, EngineKeeper
from lagline.playback.feeder import Material
from lagline.playback.guard import HIGHEST_CEILING_DBFS, NO_LIMIT
from lagline.playback.heard import every_version, ready_versions, same_take, what_is_heard
from lagline.playback.helper import Helper, spawn_context
from lagline.playback.level_watch import LevelWatch
from lagline.playback.state import PlayState, board_part
from lagline.playback.transport import Transport
from lagline.playback.watcher import Watcher
from lagline.session.values import ORIGINAL_ID, Session
from lagline.units import db_to_gain, gain_to_db

START_GAIN_DB = -20.0  # at every launch: nobody's ears should meet last week's volume
QUIETEST_GAIN_DB, LOUDEST_GAIN_DB = -60.0, 12.0
DIM_DB = -20.0
GENTLEST_RISE_DB, STEEPEST_RISE_DB = 3.0, 20.0  # a second
LOWEST_CEILING_DBFS = -40.0
ANSWER_WITHIN_S = 5.0
MOST_WITH_LEADS = 32  # versions whose moments are measured before anybody asks to keep them

_log = logging.getLogger(__name__)


class Player:
    """Plays a session in an engine process, without Qt. Any thread may call it; nothing waits for sound.

    The engine is started by the first `play` (or `devices`), started again when it dies, and told
    everything anew. `state` is cheap enough for every repaint. Call `close` at the end.
    """

    def __init__(self, settings: protocol.Settings | None = None, *, measure_levels: bool = True) -> None:
        self._lock = threading.RLock()
        context = spawn_context()
        self._board = Board(context)
        self._keeper = EngineKeeper(context, self._board, settings or protocol.Settings())
        self._levels = LevelWatch(context) if measure_levels else None
        self._watcher = Watcher(context, self._watched, self._hear)
        self._closed = False
        self._session: Session | None = None
        self._material: Material | None = None
        self._recent: tuple[str, ...] = ()
        self._transport = Transport(db_to_gain(START_GAIN_DB))
        self._choice = protocol.DeviceChoice()
        self._in_use: protocol.InUse | None = None
        self._hidden = False
        self._matching = True
        self._monitor_gain = db_to_gain(START_GAIN_DB)
        self._dim = False
        self._same_moment = False
        self._with_leads = True
        self._mixes = False  # every version is at hand, mixed from its lanes
        self._heard: tuple[Session, Session] | None = None  # a session, and what is heard of it
        self._devices: tuple[protocol.OutputDevice, ...] = ()
        self._devices_found = threading.Event()
        self._devices_found.set()
        self._last_words = ""  # of an engine that failed
        self._given_up = ""  # why the last engine to fail was not replaced
        self._message, self._message_count = "", 0

    # What to play

    def load(self, session: Session) -> None:
        """Play this session from now on. While playing, an edit is heard within 150 ms.

        Call it after every edit; what cannot be heard costs nothing. Playing goes round the session's loop
        if it has one, and levels are matched if it says so. Another take stops and goes back to its
        beginning.
        """
        with self._lock:
            before, self._session = self._session, session
            new_take = before is None or not same_take(before, session)
            if before is None or before.level_match != session.level_match:
                self._matching = session.level_match
                self._apply_match()
            if new_take:
                if self._levels:
                    self._levels.forget()
                self._apply_match()
                self._want(playing=False, take=self._transport.wanted.take + 1)
            ids = (ORIGINAL_ID, *(version.id for version in session.versions))
            if new_take or self._transport.wanted.view.version_id not in ids:
                self._tell_wanted(self._transport.start_over())
            self._show()
            if new_take:
                self.seek(session.loop[0] if session.loop else 0)

    # Transport

    def play(self) -> None:
        """Start, where it stopped; from the top at the end of the take; in a loop, inside it.

        An output that went away, or was not there, is tried again.

        Raises EngineFailed when there is nothing to play, or no process to play it.
        """
        with self._lock:
            if self._session is None:
                raise EngineFailed("no take is open")
            loop, transport = self._session.loop, self._transport
            if loop is not None and not loop[0] <= self._position() < loop[1]:
                self.seek(loop[0])
            elif transport.is_at_end:
                self.seek(0)
            is_new = self._start_engine()  # and has been told the output already
            if self._keeper.played():
                self._watcher.look()  # it waits without a limit as long as no spare is wanted
            lacks_output = self._in_use is not None and self._in_use.is_makeshift(self._choice)
            if not is_new and (transport.has_lost_device or (lacks_output and not transport.wanted.playing)):
                self._tell(protocol.UseDevice(self._choice))
            transport.has_lost_device = False
            self._tell_wanted(transport.play())

    def play_from(self, position: int) -> None:
        """Start at a session time, also before a loop, which is then run into. Raises as `play` does."""
        with self._lock:
            self.play()
            self.seek(position)

    def stop(self) -> None:
        """Stop where it is; `play` goes on from there."""
        with self._lock:
            self._want(playing=False)

    def seek(self, position: int) -> None:
        """Go to a session time, in samples."""
        with self._lock:
            self._tell(self._transport.jump(position))
            self._tell_wanted(True)

    # What is heard

    def select(self, version_id: str) -> None:
        """Hear the original or a version. Raises NotInSession.

        In a blind trial every call dips, even to what is heard already.
        """
        with self._lock:
            if self._session is not None:
                self._session.version(version_id)
            if version_id != self._transport.wanted.view.version_id or self._hidden:
                self._want_view(version_id)

    def set_difference(self, difference: bool) -> None:
        """Hear only what the version changes: it minus the original, not level matched."""
        self._set_view(difference=difference)

    def set_mono(self, mono: bool) -> None:
        """Hear both sides averaged: cancellation hides in stereo."""
        self._set_view(mono=mono)

    def set_monitor_gain(self, gain_db: float) -> None:
        """Volume in dB, limited to QUIETEST_GAIN_DB (silent there) .. LOUDEST_GAIN_DB."""
        limited = min(max(gain_db, QUIETEST_GAIN_DB), LOUDEST_GAIN_DB)
        gain = db_to_gain(limited) if limited > QUIETEST_GAIN_DB else 0.0
        with self._lock:
            self._monitor_gain = gain
            self._apply_volume()

    def set_dim(self, dim: bool) -> None:
        """Turn the volume down by DIM_DB at once, and up again at the guard's pace."""
        with self._lock:
            self._dim = dim
            self._apply_volume()

    def set_guard(self, rise_db: float, ceiling_dbfs: float = HIGHEST_CEILING_DBFS) -> None:
        """What the hearing guard allows: by how much it may become louder in a second, and the highest peak.

        Limited to GENTLEST_RISE_DB .. STEEPEST_RISE_DB and LOWEST_CEILING_DBFS .. HIGHEST_CEILING_DBFS; an
        infinite rise switches the guard off, for tests of what comes before it.
        """
        if rise_db != NO_LIMIT:
            rise_db = min(max(rise_db, GENTLEST_RISE_DB), STEEPEST_RISE_DB)
        ceiling_dbfs = min(max(ceiling_dbfs, LOWEST_CEILING_DBFS), HIGHEST_CEILING_DBFS)
        with self._lock:
            self._want(most_rise_db=rise_db, ceiling_dbfs=ceiling_dbfs)

    def set_same_moment(self, on: bool) -> None:
        """Let switching keep the moment of the music instead of the clock's."""
        with self._lock:
            self._same_moment = on
            self._show()

    def mix_from_lanes(self, on: bool) -> None:
        """Have every version at hand, however many, to be heard in the next block.

        Instead of a few versions the engine renders single lanes ahead, and mixes them as they are heard.
        """
        with self._lock:
            if on != self._mixes:
                self._mixes = on
                self._show()

    def prepare(self) -> None:
        """A take will be loaded soon: have ready what measures it."""
        with self._lock:
            if self._levels and not self._closed:
                self._levels.prepare()
                self._watcher.look()

    def set_hidden(self, hidden: bool, version_ids: tuple[str, ...] = ()) -> None:
        """Hide from `state` what would give a blind trial away, and let nothing heard give it away either.

        Its versions are kept ready to switch to, equally loud whatever the session says, at levels that stay
        as they are (ITU-R BS.1534-3), at the same moment of the music. `audition` plays them.
        """
        with self._lock:
            self._hidden = False
            self._apply_match(always=hidden)
            self._hidden = hidden
            self._recent = tuple(dict.fromkeys((*version_ids, *self._recent)))
            self._want(sealed=hidden)
            self._show()

    def audition(self, version_id: str) -> None:
        """In a blind trial: hear a version from where the loop begins, whatever was heard before.

        Every call is the same to the ear but for the version: fades out, begins anew, fades in. Raises as
        `select` and `play` do.
        """
        with self._lock:
            if self._session is None:
                raise EngineFailed("no take is open")
            self._session.version(version_id)
            start = self._session.loop[0] if self._session.loop else 0
            jump = self._transport.audition(version_id, start)
            # In this order: silence lasts until the jump is made, and no other version is heard there first.
            self._tell_wanted(True)
            self._tell(jump)
            if not self._transport.wanted.playing:
                self.play()

    # Devices

    def devices(self) -> tuple[protocol.OutputDevice, ...]:
        """The machine's outputs, the default one first. Raises EngineFailed without an answer."""
        with self._lock:
            self._devices_found.clear()
            if not self._start_engine():
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
            self._transport.has_lost_device = False
            self._tell(protocol.UseDevice(self._choice))

    # How things stand

    def state(self) -> PlayState:
        """What the desk shows of playback at this moment. In a blind run nothing tells the versions apart."""
        with self._lock:
            wanted, hidden, levels = self._transport.wanted, self._hidden, self._levels
            return PlayState(
                position=self._position(),
                playing=wanted.playing,
                version_id=None if hidden else wanted.view.version_id,
                difference=wanted.view.difference,
                mono=wanted.view.mono,
                monitor_gain_db=gain_to_db(self._monitor_gain),
                is_dim=self._dim,
                is_same_moment=self._same_moment,
                most_rise_db=wanted.most_rise_db,
                ceiling_dbfs=wanted.ceiling_dbfs,
                loudness_lufs=dict(levels.lufs) if levels and not hidden else {},
                match_db=dict(levels.match_db) if levels and not hidden else {},
                matching=self._matching,
                measuring=levels is not None and levels.is_measuring,
                levels_known=levels is not None and levels.is_current,
                ungated=levels is not None and levels.ungated,
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
        return self._keeper.pid

    def close(self) -> None:
        """End all processes. The player is of no use afterwards."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
            self._tell(protocol.Quit())
        self._watcher.close()
        self._keeper.close()
        if self._levels:
            self._levels.close()

    def __enter__(self) -> Player:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # Inside; the lock is held

    def _position(self) -> int:
        return self._transport.position(self._board) if self._keeper.is_running else self._transport.place

    def _want_view(self, version_id: str) -> None:
        self._recent = (version_id, *(known for known in self._recent if known != version_id))
        self._tell_wanted(self._transport.view(version_id=version_id))
        self._show()

    def _apply_volume(self) -> None:
        self._want(monitor_gain=self._monitor_gain * (db_to_gain(DIM_DB) if self._dim else 1.0))

    def _set_view(self, **changes: bool) -> None:
        with self._lock:
            view = self._transport.wanted.view
            if replace(view, **changes) != view:
                self._tell_wanted(self._transport.view(**changes))

    def _want(self, **changes: Any) -> None:
        self._tell_wanted(self._transport.want(**changes))

    def _tell_wanted(self, has_changed: bool) -> None:
        if has_changed:
            self._tell(protocol.Want(self._transport.wanted))

    def _show(self) -> None:
        """Tell the engine what to play and the meter what to measure, where that has changed."""
        session = self._session
        if session is None:
            return
        if self._heard is None or self._heard[0] is not session:
            self._heard = session, what_is_heard(session)
        heard = self._heard[1]
        recent = (self._transport.wanted.view.version_id, *self._recent)
        versions = every_version(heard) if self._mixes else ready_versions(heard, recent)
        keeps_moment = self._same_moment or self._hidden
        leads = self._levels.leads if self._levels and keeps_moment else {}
        material = Material(heard, versions, session.loop, leads, self._mixes)
        before, self._material = self._material, material
        if material != before:
            self._tell(protocol.Show(material))
        with_leads = keeps_moment or len(heard.versions) <= MOST_WITH_LEADS
        needs_leads, self._with_leads = with_leads and not self._with_leads, with_leads
        if self._levels and (before is None or needs_leads or heard != before.session):
            self._levels.note(heard, with_leads=with_leads)
            self._watcher.look()

    def _tell(self, command: protocol.Command) -> None:
        self._keeper.send(command)

    def _start_engine(self) -> bool:
        """Start the engine unless it runs, and tell it everything; True when that was done.

        Raises EngineFailed when the system gives no process.
        """
        if self._closed or not self._keeper.start():
            return False
        self._tell(protocol.UseDevice(self._choice))
        if self._material is not None:
            self._tell(protocol.Show(self._material))
        self.seek(self._transport.place)
        if not self._devices_found.is_set():
            self._tell(protocol.ListDevices())
        self._watcher.look()
        return True

    def _apply_match(self, *, always: bool = False) -> None:
        """`always`: whether the session wants it or not."""
        if self._hidden:
            return
        levels = self._levels
        gains: dict[str, float] = {}
        matching = levels is not None and (self._matching or always)
        if matching and levels:
            gains = {key: db_to_gain(db) for key, db in levels.match_db.items()}
        known = {key: lufs for key, lufs in levels.lufs.items() if isfinite(lufs)} if levels else {}
        self._want(match_gains=gains, loudness_lufs=known, matching=matching)

    def _say(self, message: str) -> None:
        self._message = message
        self._message_count += 1

    # In the watcher's thread: hears from the processes, replaces the dead, asks for levels when edits rest

    def _watched(self) -> tuple[list[Any], float | None]:
        with self._lock:
            sources, waits = self._keeper.sources(), [self._keeper.spare_wait_s()]
            if self._levels:
                sources += self._levels.sources()
                waits.append(self._levels.wait_s())
        return sources, min((wait for wait in waits if wait is not None), default=None)

    def _hear(self, ready: list[Any]) -> None:
        with self._lock:
            if self._closed:
                return
            for event in self._keeper.heard(ready):
                self._take_in(event)
            engine, spare = self._keeper.fallen(ready)
            if engine is not None:
                self._replace_engine()
            meter = self._hear_levels(ready)
            wants_spare = self._keeper.spare_wait_s() == 0.0
        # What takes a moment comes without the lock: the desk goes on meanwhile.
        if spare is not None:
            spare.close()
        if engine is not None:
            self._tell_of_death(engine)
        if meter is not None:
            _log.error("measuring loudness: %s", meter.close())
        if wants_spare:
            made = self._keeper.spare_made()
            with self._lock:
                self._keeper.keep_spare(made)

    def _take_in(self, event: protocol.Event) -> None:
        match event:
            case protocol.InUse():
                self._in_use = event
            case protocol.Said(message):
                self._say(message)
            case protocol.Stopped():
                self._tell_wanted(self._transport.stopped(event))
            case protocol.DevicesFound(devices):
                self._devices = devices
                self._devices_found.set()
            case protocol.Failed(reason, trace):
                self._last_words = reason
                _log.error("the playback engine failed: %s\n%s", reason, trace)

    def _hear_levels(self, ready: list[Any]) -> Helper | None:
        """Take in what the meter says; gives back its process when that has died."""
        if self._levels is None:
            return None
        newest, failed = self._levels.hear(ready)
        fallen = self._levels.fallen()
        failed = self._levels.ask_if_due() or failed
        if newest:
            self._apply_match()
            self._show()  # the moments of the music may lie elsewhere now
        if failed is not None:
            _log.error("measuring loudness failed: %s\n%s", failed.reason, failed.trace)
        if failed is not None or fallen is not None:
            reason = f" ({failed.reason})" if failed else ""
            self._say(
                f"The loudness of the versions could not be measured{reason}: they stay as loud as they "
                "were set, which may not be equal. The next edit measures again."
            )
        return fallen

    def _replace_engine(self) -> None:
        """Go on with another engine where the dead one was."""
        transport = self._transport
        transport.place = transport.position(self._board)
        self._in_use = None
        self._given_up = ""
        if self._keeper.is_hopeless:
            self._given_up = f"{MOST_RESTARTS + 1} times in a row; at last "
        else:
            try:
                self._start_engine()
            except EngineFailed:
                _log.exception("the playback engine has no other to take its place")
                self._given_up = "the system gave no other process; before, "
        if self._given_up:
            transport.want(playing=False)

    def _tell_of_death(self, engine: Helper) -> None:
        ending = engine.close()
        with self._lock:
            reason, self._last_words = self._last_words or ending, ""
            _log.error("the playback engine is gone: %s", reason)
            if self._given_up:
                self._say(str(EngineFailed(self._given_up + reason)))
            else:
                self._say(
                    f"The playback engine stopped unexpectedly ({reason}) and was started again "
                    "where it was. If it happens again, choose a larger block or another output."
                )
