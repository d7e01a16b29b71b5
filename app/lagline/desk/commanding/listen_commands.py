"""Commands about what is heard: transport, loop, versions, monitor."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from msgspec.structs import replace

from lagline.blend.passage import loop_allowed
from lagline.desk.actions import Actions, Handler
from lagline.desk.commanding.first_sound import read_caution
from lagline.desk.heard_passage import passage_to_hear
from lagline.desk.parts import DeskParts
from lagline.desk.transport_state import TransportState
from lagline.playback.protocol import DeviceChoice, OutputDevice
from lagline.session.trying import BEFORE_ID, with_before
from lagline.session.values import ORIGINAL_ID, Session

LOUDER_DB = 2.0
PRE_ROLL_S = 2.0


class ListenCommands:
    """Commands of playback: transport, loop, what is heard."""

    def __init__(self, parts: DeskParts) -> None:
        self._parts = parts
        self.actions: Actions | None = None
        self._shown: Session | None = None

    def handlers(self) -> dict[str, Handler]:
        return {
            "play": self.play,
            "run_up": self._run_up,
            "play_loop": self._play_loop,
            "to_start": self._to_start,
            "hear_original": partial(self.hear, ORIGINAL_ID),
            **{f"hear_{number}": partial(self._hear_number, number) for number in range(2, 10)},
            "toggle": self._toggle_heard,
            "toggle_in_lanes": self._toggle_heard,
            "stay": self.stay,
            "equal": self._equal,
            "difference": self._difference,
            "mono": self._mono,
            "moment": self._moment,
            "loop": self.loop,
            "loop_start": partial(self._set_loop_end, 0),
            "loop_stop": partial(self._set_loop_end, 1),
            "loop_view": self._loop_view,
            "loop_whole": self._loop_whole,
            "louder": partial(self._parts.strip.monitor.step, LOUDER_DB),
            "quieter": partial(self._parts.strip.monitor.step, -LOUDER_DB),
            "dim": self._dim,
            "caution": self.show_caution,
            "version_new": self._parts.edits.new_version,
            "version_copy": self._parts.edits.copy_version,
            "version_rename": self._rename_version,
            "version_delete": self._parts.edits.delete_version,
        }

    # transport

    def play(self) -> None:
        """Play, a chosen stretch from its beginning, or stop; before the first sound of all, the caution."""
        playing, chosen = self._parts.playing, self._parts.times.chosen
        if not playing.state.is_playing:
            read_caution(self._parts)
            if chosen is not None:
                playing.seek(chosen[0])
        playing.toggle()

    def show_caution(self) -> None:
        read_caution(self._parts, again=True)

    def _run_up(self) -> None:
        """From so far before the playhead that one knows where one is; into a loop from before it."""
        session, playing = self._session, self._parts.playing
        if session is not None:
            read_caution(self._parts)
            first, _ = session.span(session.current_version)
            loop = session.loop if playing.is_looping else None
            here = loop[0] if loop is not None else playing.state.position_samples
            playing.play_from(max(here - PRE_ROLL_S * session.rate_hz, first))

    def _play_loop(self) -> None:
        if self._session is not None and self._session.loop is None:
            self._loop_view()
        if self._session is not None and self._session.loop is not None:
            read_caution(self._parts)
            self._parts.playing.set_looping(True)
            self._parts.playing.play_from(self._session.loop[0])

    def _to_start(self) -> None:
        session = self._session
        if session is not None:
            loop = session.loop if self._parts.playing.is_looping else None
            start = loop[0] if loop else 0
            self._parts.playing.seek(start)
            self._parts.times.reveal(start)

    # the loop

    def loop(self, on: bool | None = None) -> None:
        """Switch looping on or off. A chosen stretch becomes the loop; without one, what is in view does."""
        playing, session, chosen = self._parts.playing, self._session, self._parts.times.chosen
        if session is None:
            return
        wanted = not playing.is_looping if on is None else on
        if on is None and chosen is not None and chosen != session.loop:
            self.take_loop(chosen, "")
            wanted = True
        elif wanted and session.loop is None:
            self._loop_view()
        playing.set_looping(wanted)
        self._into_loop()
        self.show_looping(playing.is_looping)

    def _into_loop(self) -> None:
        """At rest the playhead stands where playing will begin: inside the loop that is on."""
        playing, loop = self._parts.playing, self._session.loop if self._session else None
        here = playing.state.position_samples
        if loop is None or not playing.is_looping or playing.state.is_playing:
            return  # while it plays, playback goes into the loop by itself
        if not loop[0] <= here < loop[1]:
            playing.seek(loop[0])

    def take_loop(self, loop: tuple[int, int] | None, group: str) -> None:
        """A loop made on the ruler: it loops from now on."""
        self._parts.edits.loop(loop, group)
        self._parts.playing.set_looping(loop is not None)

    def show_looping(self, on: bool) -> None:
        session = self._session
        self._parts.strip.show_looping(on)
        self._parts.lanes.ruler.show_loop(session.loop if session else None, is_looping=on)
        if self.actions is not None:
            self.actions.check("loop", on)

    def _set_loop_end(self, end: int) -> None:
        session = self._session
        if session is None:
            return
        here = round(self._parts.playing.state.position_samples)
        start, stop = session.loop or session.span(session.current_version)
        loop = (here, stop) if end == 0 else (start, here)
        if loop[0] >= loop[1]:  # the other end is on the wrong side: let it give way
            first, last = session.span(session.current_version)
            loop = (here, last) if end == 0 else (first, here)
        if loop[0] < loop[1]:
            self.take_loop(loop, "")

    def _loop_view(self) -> None:
        session = self._session
        if session is not None:
            first, last = session.span(session.current_version)
            seen = self._parts.times.seen
            loop = max(round(seen[0]), first), min(round(seen[1]), last)
            if loop[0] < loop[1]:  # what is drawn is what will sound, so never shorter than can
                self.take_loop(loop_allowed(loop, session.rate_hz), "")

    def _loop_whole(self) -> None:
        session = self._session
        if session is not None:
            self.take_loop(session.span(session.current_version), "")

    # what is heard

    def hear(self, version_id: str) -> None:
        """Hear a version; it is also the one that edits go to, unless it cannot be edited or one stays."""
        is_own = self._session is not None and self._session.has_version(version_id)
        if is_own and not self._parts.lanes.plate.stays:
            self._parts.edits.choose_version(version_id)
        self._parts.playing.hear(version_id)

    def _hear_number(self, number: int) -> None:
        session = self._session
        if session is not None and number - 2 < len(session.versions):
            self.hear(session.versions[number - 2].id)

    def _toggle_heard(self) -> None:
        """Back and forth between the version worked in and the original, or how it was before a trial."""
        session = self._session
        if session is not None:
            before = BEFORE_ID if with_before(session).has_version(BEFORE_ID) else ORIGINAL_ID
            is_before = self._parts.playing.state.heard_id == before
            self.hear(session.current_version_id if is_before else before)

    def stay(self, on: bool | None = None) -> None:
        """Let what is heard and what is edited part ways, or bring them together again."""
        plate = self._parts.lanes.plate
        plate.show_stays(not plate.stays if on is None else on)
        if self.actions is not None:
            self.actions.check("stay", plate.stays)
        if not plate.stays and self._session is not None:
            self.hear(self._parts.playing.state.heard_id or self._session.current_version_id)

    def loop_to_hear(self, lane_ids: Sequence[str]) -> tuple[int, int] | None:
        """The loop that a change of these lanes wants; None where the one there is will do."""
        session, playing = self._session, self._parts.playing
        here = playing.state.position_samples
        if session is None or (session.loop is not None and playing.is_looping):
            return None
        if self._parts.times.chosen is not None:
            return self._parts.times.chosen
        if session.loop is not None and session.loop[0] <= here < session.loop[1]:
            return None
        return passage_to_hear(session, lane_ids, here, self._parts.sounds.data.overviews())

    def let_hear(self) -> None:
        """The change just made is heard at once, over and over, at equal loudness unless that is off."""
        session, playing = self._session, self._parts.playing
        if session is None:
            return
        first, last = self._parts.times.seen
        is_close = session.loop is not None and not first <= session.loop[0] < session.loop[1] <= last
        if session.loop is not None:
            self.loop(True)
        if not self._parts.lanes.plate.stays:
            playing.hear(session.current_version_id)
        if not playing.state.is_playing:
            if is_close:  # whoever looks at single samples goes on looking at them
                self._parts.lanes.rest_view()
            self.play()

    def _follow_edit(self, old: Session | None, session: Session | None) -> None:
        """What is edited is what is heard, except where one stays."""
        heard = self._parts.playing.state.heard_id
        if old is None or session is None or heard is None or self._parts.lanes.plate.stays:
            return
        was, now = old.current_version, session.current_version
        same_take = {lane.id for lane in old.lanes} == {lane.id for lane in session.lanes}
        if same_take and (was.id, was.moves) != (now.id, now.moves) and heard != now.id:
            self._parts.playing.hear(now.id)

    def _equal(self) -> None:
        if self._session is not None:
            self._parts.edits.level_match(not self._session.level_match)

    def _difference(self) -> None:
        self._parts.playing.set_difference(not self._parts.playing.state.is_difference)

    def _mono(self) -> None:
        self._parts.playing.set_mono(not self._parts.playing.state.is_mono)

    def _moment(self) -> None:
        self._parts.playing.set_same_moment(not self._parts.playing.state.is_same_moment)

    def _dim(self) -> None:
        self._parts.playing.set_dim(not self._parts.playing.state.is_dim)

    def _rename_version(self) -> None:
        if self._session is not None:
            old = self._session.current_version
            name = self._parts.questions.text("Rename the version", "Name", old.name)
            if name is not None:
                self._parts.edits.rename_version(old.id, name)

    # the output

    def use_device(self, name: str) -> None:
        """Chosen in the strip: rate and block size stay as they were chosen."""
        self.use(replace(self._parts.settings.device, name=name or None))

    def use(self, choice: DeviceChoice) -> None:
        self._parts.settings.device = choice
        self._parts.playing.set_device(choice)

    def show_devices(self, devices: Sequence[OutputDevice]) -> None:
        names = [device.name for device in devices]
        self._parts.strip.device.show_devices(names, self._parts.settings.device.name or "")

    def tell_no_output(self) -> None:
        self._parts.messages.show_notice(
            "No sound output was found: a silent clock keeps time, and everything else works. "
            "Plug one in, then choose it at the top right."
        )

    def restore(self) -> None:
        """The output and the guard of the last run; the monitor level is never kept."""
        settings = self._parts.settings
        self._parts.playing.set_guard(settings.most_rise_db, settings.ceiling_dbfs)
        choice = self._parts.settings.device
        if choice != DeviceChoice():
            self._parts.playing.set_device(choice)
        if choice.name is not None:
            self._parts.strip.device.show_devices((choice.name,), choice.name)

    def show_session(self, session: Session | None) -> None:
        old, self._shown = self._shown, session
        self._follow_edit(old, session)
        self.show_looping(self._parts.playing.is_looping)
        if self.actions is not None and session is not None:
            self.actions.check("equal", session.level_match)
            self.actions["version_delete"].setEnabled(len(session.versions) > 1)

    def show_transport(self, state: TransportState) -> None:
        if self.actions is not None:
            self.actions.check("difference", state.is_difference)
            self.actions.check("mono", state.is_mono)
            self.actions.check("moment", state.is_same_moment)
            self.actions.check("dim", state.is_dim)

    @property
    def _session(self) -> Session | None:
        return self._parts.store.session
