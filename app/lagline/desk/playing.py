"""The desk's hand on playback: polls the player, turns what it says into signals."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from msgspec.structs import replace
from PySide6.QtCore import QObject, QTimer, Signal

from lagline.blend.passage import loop_allowed
from lagline.desk.job import Job
from lagline.desk.transport_state import TransportState
from lagline.errors import LaglineError
from lagline.playback.protocol import SILENT_CLOCK, DeviceChoice, OutputDevice
from lagline.playback.state import PlayState
from lagline.session.values import ORIGINAL_ID, Session, Version

POLL_MS = 33
IDLE_POLL_MS = 250
SCRUB_MS = 90  # of sound at each place
TRIAL_S = 6.0  # of music, where no loop says what is compared
LOAD_MS = 40  # edits within this time reach the engine together


class PlayerLike(Protocol):
    """What the desk needs of `lagline.playback.player.Player`."""

    def load(self, session: Session) -> None: ...
    def play(self) -> None: ...
    def play_from(self, position: int) -> None: ...
    def stop(self) -> None: ...
    def seek(self, position: int) -> None: ...
    def select(self, version_id: str) -> None: ...
    def audition(self, version_id: str) -> None: ...
    def set_difference(self, difference: bool) -> None: ...
    def set_mono(self, mono: bool) -> None: ...
    def set_monitor_gain(self, gain_db: float) -> None: ...
    def set_dim(self, dim: bool) -> None: ...
    def set_guard(self, rise_db: float, ceiling_dbfs: float) -> None: ...
    def set_same_moment(self, on: bool) -> None: ...
    def mix_from_lanes(self, on: bool) -> None:
        """Render these ahead whatever is listened to."""

    def prepare(self) -> None: ...
    def devices(self) -> tuple[OutputDevice, ...]: ...
    def set_hidden(self, hidden: bool, version_ids: tuple[str, ...] = ()) -> None: ...
    def set_device(
        self, name: str | None, *, rate_hz: int | None = None, block_frames: int | None = None
    ) -> None: ...
    def state(self) -> PlayState: ...
    def close(self) -> None: ...


def transport_of(told: PlayState) -> TransportState:
    """What the desk shows of what the player says."""
    return TransportState(
        position_samples=float(told.position),
        is_playing=told.playing,
        heard_id=told.version_id,
        is_difference=told.difference,
        is_mono=told.mono,
        is_matching=told.matching,
        peak_dbfs=told.peak_dbfs,
        true_peak_dbtp=told.true_peak_dbtp,
        reduction_db=told.reduction_db or 0.0,
        held_db=told.held_db or 0.0,
        monitor_gain_db=told.monitor_gain_db,
        is_dim=told.is_dim,
        is_same_moment=told.is_same_moment,
        is_hidden=told.version_id is None,
        loudness_lufs=told.loudness_lufs,
        match_db=told.match_db if told.matching else {},
        device=told.device_name or "",
        has_device=told.device_name is None or not told.is_silent,
        dropouts=told.underruns + told.starved,
    )


class PlayController(QObject):
    """Keeps what the player cannot know (whether the loop is on) and polls what goes on.

    The player is injected, so that tests bring their own. What it raises becomes `failed`.
    """

    state_changed = Signal(object)  # TransportState
    looping_changed = Signal(bool)
    devices_found = Signal(object)  # tuple of OutputDevice
    failed = Signal(str)
    no_output_found = Signal()  # the machine has none: a silent clock keeps time from now on

    def __init__(self, player: PlayerLike, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._player = player
        self._session: Session | None = None
        self._state = transport_of(player.state())
        self._is_looping = False
        self._trial_loop: tuple[int, int] | None = None
        self._trial_ids: tuple[str, ...] = ()
        self._offered: tuple[Version, ...] = ()
        self._told = player.state().message_count
        self._job: Job | None = None
        self._choice = DeviceChoice()
        self._has_output = True  # until a look says otherwise
        self._poll = QTimer(self)
        self._poll.setInterval(IDLE_POLL_MS)
        self._poll.timeout.connect(self.poll)
        self._scrub_from: bool | None = None  # whether it played before the hand took the playhead
        self._scrub_to: float | None = None
        self._scrub = QTimer(self)
        self._scrub.setSingleShot(True)
        self._scrub.setInterval(SCRUB_MS)
        self._scrub.timeout.connect(self._scrub_on)
        self._load = QTimer(self)
        self._load.setSingleShot(True)
        self._load.setInterval(LOAD_MS)
        self._load.timeout.connect(self._load_now)

    @property
    def state(self) -> TransportState:
        return self._state

    @property
    def is_looping(self) -> bool:
        return self._is_looping

    def show_session(self, session: Session | None) -> None:
        """Edits reach the engine a little later, several at once; a new take at once."""
        old, self._session = self._session, session
        if session is None:
            self.stop()
            self._load.stop()
            self._poll.stop()
            self._forget_take()
        elif old is None or {lane.id for lane in old.lanes} != {lane.id for lane in session.lanes}:
            self._offered = ()
            self._load_now()
            self._poll.start()
        elif not self._has_version(self._state.heard_id or ORIGINAL_ID):
            # It was deleted, or its making taken back: nothing of it is left to be heard.
            self._load_now()
            self._call(self._player.select, session.current_version_id)
        else:
            self._load.start()

    def offer(self, versions: tuple[Version, ...]) -> None:
        """More versions to hear at once beside the session's, with nothing soloed meanwhile; () for none."""
        if versions == self._offered:
            return
        are_same = [one.id for one in versions] == [one.id for one in self._offered]
        self._offered = versions
        if are_same:  # edited: as an edit of the session
            self._load.start()
            return
        if self._session is not None and not self._has_version(self._state.heard_id or ORIGINAL_ID):
            self._call(self._player.select, self._session.current_version_id)
        self._call(self._player.mix_from_lanes, bool(versions))
        self._load_now()

    def _has_version(self, version_id: str) -> bool:
        offered = any(version.id == version_id for version in self._offered)
        return offered or (self._session is not None and self._session.has_version(version_id))

    def _forget_take(self) -> None:
        """Time, levels and loudness were those of the take that is gone."""
        here = TransportState(heard_id=self._state.heard_id, monitor_gain_db=self._state.monitor_gain_db)
        self._state = replace(here, device=self._state.device, has_device=self._state.has_device)
        self.state_changed.emit(self._state)

    def rewind(self) -> None:
        """Another take is on the desk: from its beginning, as recorded.

        One with a loop is looping: as long as nobody says otherwise, versions are compared here over what
        the same session is compared over where there is no desk, when it is printed or reported.
        """
        self.stop()
        loop = self._session.loop if self._session is not None else None
        self.set_looping(loop is not None)
        self._call(self._player.seek, loop[0] if loop is not None else 0)
        if self._session is not None:
            self._call(self._player.select, ORIGINAL_ID)

    # what is asked

    def play(self) -> None:
        if self._session is not None:
            self._load_now()
            if not self._has_output:  # one may have been plugged in since
                self.look_for_devices(quietly=True)
            self._call(self._player.play)

    def stop(self) -> None:
        if self._state.is_playing:
            self._call(self._player.stop)

    def play_from(self, sample: float) -> None:
        """From another place than where it stands, also before a loop."""
        if self._session is not None:
            self._load_now()
            self._call(self._player.play_from, round(sample))

    def scrub(self, sample: float) -> None:
        """The hand drags the playhead: hear what lies under it."""
        if self._session is None:
            return
        if self._scrub_from is None:
            self._scrub_from = self._state.is_playing
            self._call(self._player.play_from, round(sample))
            self._scrub.start()
        elif self._scrub.isActive():
            self._scrub_to = sample
        else:
            self.seek(sample)
            self._scrub.start()

    def end_scrub(self, sample: float) -> None:
        was_playing, self._scrub_from = self._scrub_from, None
        self._scrub.stop()
        self._scrub_to = None
        if was_playing is False:
            self.stop()
        self.seek(sample)

    def _scrub_on(self) -> None:
        """What was dragged to since the last piece was begun."""
        sample, self._scrub_to = self._scrub_to, None
        if sample is not None:
            self.scrub(sample)

    def toggle(self) -> None:
        (self.stop if self._state.is_playing else self.play)()

    def seek(self, sample: float) -> None:
        self._call(self._player.seek, round(sample))

    def hear(self, version_id: str) -> None:
        if self._load.isActive():
            self._load_now()  # the version may be new
        self._call(self._player.select, version_id)

    def set_looping(self, on: bool) -> None:
        if on != self._is_looping:
            self._is_looping = on
            self._load_now()
            self.looping_changed.emit(on)

    def set_difference(self, on: bool) -> None:
        self._call(self._player.set_difference, on)

    def set_mono(self, on: bool) -> None:
        self._call(self._player.set_mono, on)

    def set_dim(self, on: bool) -> None:
        self._call(self._player.set_dim, on)

    def set_same_moment(self, on: bool) -> None:
        self._call(self._player.set_same_moment, on)

    def set_guard(self, rise_db: float, ceiling_dbfs: float) -> None:
        self._call(self._player.set_guard, rise_db, ceiling_dbfs)

    def prepare(self) -> None:
        """A take may be opened soon."""
        self._call(self._player.prepare)

    def set_monitor(self, gain_db: float) -> None:
        self._call(self._player.set_monitor_gain, gain_db)

    def set_hidden(self, hidden: bool, version_ids: tuple[str, ...]) -> None:
        """Hide what is heard while a blind trial runs."""
        self._call(self._player.set_hidden, hidden, version_ids)

    def set_device(self, choice: DeviceChoice) -> None:
        self._choice = choice
        self._call(self._use, choice)

    def look_for_devices(self, *, quietly: bool = False) -> None:
        """Ask which outputs there are; `devices_found` tells. The engine may have to start first.

        `quietly`: nobody asked for it, so no answer is nothing to complain about.
        """
        if self._job is not None:
            return
        self._job = Job("Looking for outputs", self._devices)
        self._job.done.connect(self._take_devices)
        if not quietly:
            self._job.failed.connect(self.failed)
        self._job.finished.connect(self._devices_over)
        self._job.start()

    # what goes on

    def as_heard(self, session: Session) -> Session:
        """Without its loop while looping is off: what is compared by ear, and printed as it was heard.

        In a trial its original is that of the version it is compared with there.
        """
        session = session.compared(*self._trial_ids)
        if self._trial_loop is not None:
            return replace(session, loop=self._trial_loop)
        return session if self._is_looping else replace(session, loop=None)

    def begin_trial(self) -> None:
        """A trial goes round a loop: the one that is on, or some seconds from the playhead on."""
        session = self._session
        if session is None or (self._is_looping and session.loop is not None):
            return
        first, last = session.span()
        length = min(round(TRIAL_S * session.rate_hz), last - first)
        start = min(max(round(self._state.position_samples), first), last - length)
        self._trial_loop = loop_allowed((start, start + length), session.rate_hz)
        self._load_now()

    def compare(self, version_ids: tuple[str, ...]) -> None:
        """The versions of a trial, before it begins: their levels are measured."""
        if self._session is not None:
            self._trial_ids = tuple(key for key in version_ids if self._session.has_version(key))
            self._load_now()

    def end_trial(self) -> None:
        if self._trial_ids:
            self._trial_ids = ()
            self._load.start()
        if self._trial_loop is not None:
            self._trial_loop = None
            self.stop()
            self._load_now()

    def audition(self, version_id: str) -> None:
        """Hear a version in a blind trial, from the beginning of its loop."""
        self._call(self._player.audition, version_id)

    @property
    def told(self) -> PlayState:
        """Everything the player says."""
        return self._player.state()

    def poll(self) -> None:
        told = self._player.state()
        state = transport_of(told)
        if not self._has_output and (told.device_name is None or told.is_silent):
            state = replace(state, has_device=False)
        if state != self._state:
            was_playing = self._state.is_playing
            self._state = state
            if state.is_playing != was_playing:
                self._poll.setInterval(POLL_MS if state.is_playing else IDLE_POLL_MS)
            self.state_changed.emit(state)
        if told.message_count != self._told:
            self._told = told.message_count
            self.failed.emit(told.message)

    def close(self) -> None:
        self._poll.stop()
        self._load.stop()
        self._scrub.stop()
        if self._job is not None:
            self._job.wait()
        self._player.close()

    def _devices(self, _progress: object, _stopped: object) -> tuple[OutputDevice, ...]:
        return self._player.devices()

    def _take_devices(self, devices: tuple[OutputDevice, ...]) -> None:
        """Without any output the engine is told not to look for one, so that nothing complains at play."""
        had, self._has_output = self._has_output, bool(devices)
        if self._has_output != had and self._choice.name is None:
            silent = replace(self._choice, name=SILENT_CLOCK)
            self._call(self._use, self._choice if devices else silent)
            if not devices:
                self.no_output_found.emit()
        self.devices_found.emit(devices)

    def _use(self, choice: DeviceChoice) -> None:
        self._player.set_device(choice.name, rate_hz=choice.rate_hz, block_frames=choice.block_frames)

    def _devices_over(self) -> None:
        self._job = None

    def _load_now(self) -> None:
        self._load.stop()
        if self._session is not None:
            heard = self.as_heard(self._session)
            if self._offered:
                heard = replace(
                    heard,
                    lanes=tuple(replace(lane, solo=False) for lane in heard.lanes),
                    versions=(*heard.versions, *self._offered),
                )
            # The engine needs no findings, and their evidence is large to send.
            self._call(self._player.load, replace(heard, alignment=None, trials=(), discarded_runs={}))

    def _call(self, ask: Callable[..., object], *arguments: object) -> None:
        try:
            ask(*arguments)
        except LaglineError as error:
            self.failed.emit(str(error))
        self.poll()
