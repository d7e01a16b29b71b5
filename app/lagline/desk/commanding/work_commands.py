"""Commands that take time: files, measuring, attacks; and what the foot says of them."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from lagline.blend.passage import loop_allowed
from lagline.desk.actions import Handler
from lagline.desk.commanding.first_sound import read_caution
from lagline.desk.following import drawn_attack
from lagline.desk.panels.accepting import trust_counts
from lagline.desk.panels.closeup_data import CloseUpData, close_up, seek_attack, span_ms_for
from lagline.desk.panels.latest import LatestTask
from lagline.desk.parts import DeskParts
from lagline.session.values import Session

ATTACK_LOOP_S = (-0.25, 1.0)  # from the attack on
SUSTAIN_LOOP_S = (0.12, 1.6)  # at most to just before the next attack
LEAST_SUSTAIN_S, BEFORE_NEXT_S = 0.2, 0.03
PLAY_BEFORE_S = 0.1  # so that the attack itself is heard
MEASURING, READING, SEEKING = "Measuring", "Reading recordings", "Looking for an attack"
Stopped = Callable[[], bool]
FoundAttack = tuple[int | None, int | None]  # an attack, and the one after it where that matters


class WorkCommands:
    """Commands that take time (files, measuring, attacks), and what the foot says of them."""

    def __init__(self, parts: DeskParts) -> None:
        self._parts = parts
        self._attacks = LatestTask("attacks", parts.window)
        self._attacks.done.connect(self._show_attack)
        self._attacks.failed.connect(parts.messages.show_problem)
        self._close_ups = LatestTask("close-up", parts.window)
        self._close_ups.done.connect(self._put_close_up)
        self._close_ups.failed.connect(parts.messages.show_problem)
        self._attacks.busy_changed.connect(self._show_seeking)
        self._opening = ""
        self.stop: Callable[[str], None] = self._stop_opening
        self.give_up: Callable[[], bool] = lambda: False
        self._direction = 1
        self._loop_s: tuple[float, float] | None = (
            None  # the loop wanted around the attack that is looked for
        )
        self._wants_play = False  # from it
        self._centre: int | None = None
        self._span_ms: float | None = None

    def handlers(self) -> dict[str, Handler]:
        """What each of these commands does, by its id."""
        files, keeping = self._parts.files, self._parts.keeping
        return {
            "open": files.ask_open,
            "open_folder": files.ask_open_folder,
            "add": files.add,
            "demo": files.open_demo,
            "save": keeping.save,
            "save_as": keeping.save_as,
            "close": keeping.close_take,
            "quit": self._parts.window.close,
            "undo": self._undo,
            "redo": self._parts.store.redo,
            "measure": self.measure,
            "cancel": self.cancel,
            "next_attack": partial(self.step_attack, 1),
            "last_attack": partial(self.step_attack, -1),
            "play_attack": self._play_attack,
            "loop_attack": partial(self._loop_attack, ATTACK_LOOP_S),
            "loop_sustain": partial(self._loop_attack, SUSTAIN_LOOP_S),
        }

    def _undo(self) -> None:
        store = self._parts.store
        before = store.session
        store.undo()
        if before is not None and before.alignment is not None:
            now = store.session
            if now is not None and now.alignment is None:  # easily stepped past unawares
                self._parts.messages.show_answer("The measurement was undone.", "redo", "Redo")

    def _stop_opening(self, _title: str) -> None:
        self._parts.files.cancel()

    def close(self) -> None:
        """Stop reading and let nothing more begin."""
        self._attacks.close()
        self._close_ups.close()

    # measuring

    def measure(self) -> None:
        """Measure the take, or say why that can't be."""
        self._parts.measuring.measure()

    def stops(self) -> dict[str, Handler]:
        """By the title of what runs: how to stop it."""
        return {MEASURING: self._parts.measuring.cancel, SEEKING: self._attacks.cancel}

    def cancel(self) -> None:
        """Esc: what the hand is at, what runs, else the message, else back to the lanes."""
        foot = self._parts.foot
        if self.give_up():
            return
        if self._parts.measuring.is_busy:
            self._parts.measuring.cancel()
        elif foot.can_stop:
            self.stop(foot.task)
        elif self._parts.messages.text:
            self._parts.messages.close_message()
        else:
            self._parts.lanes.stack.setFocus()

    def show_measuring(self, fraction: float) -> None:
        """Show how far measuring is, 0..1, in one place only."""
        findings = self._parts.side.tabs.findings
        findings.show_progress(fraction)
        if findings.isVisible():  # one bar is enough
            self._parts.foot.hide_task(MEASURING)
        else:
            self._parts.foot.show_task(MEASURING, fraction)

    def end_measuring(self) -> None:
        """Take the progress away; the findings say what came of it."""
        self._parts.side.tabs.findings.show_measured()
        self._parts.foot.hide_task(MEASURING)

    def tell_measured(self) -> None:
        """Say what was found, and offer to accept all that is strong."""
        session = self._parts.store.session
        alignment = session.alignment if session else None
        if session is None or alignment is None:
            return
        words = [one.trust_word for one in alignment.findings if one.lane_id != alignment.anchor_id]
        text = f"Measured against {session.lane(alignment.anchor_id).name}: {trust_counts(alignment)}."
        if "strong" in words:
            self._parts.messages.show_note(text, "accept_strong", "Accept all strong")
        elif "usable" in words:
            self._parts.messages.show_note(
                f"{text} Look at the evidence, then accept.", "accept_sound", "Accept strong and usable"
            )
        else:
            self._parts.messages.show_note(f"{text} Listen and decide by ear.")

    def show_busy(self, title: str) -> None:
        """Show at the foot what is being opened; an empty title ends that."""
        self._parts.foot.hide_task(self._opening)
        self._opening = title
        if title:
            self._parts.foot.show_task(title, None)

    def show_reading(self, _grown: object) -> None:
        """How far the recordings have been read; what is there is drawn meanwhile."""
        overviews = self._parts.sounds.overviews
        if overviews.is_busy:
            self._parts.foot.show_task(READING, overviews.fraction, can_stop=False)
        else:
            self._parts.foot.hide_task(READING)

    def _show_seeking(self, busy: bool) -> None:
        if busy:
            self._parts.foot.show_task(SEEKING, None)
        else:
            self._parts.foot.hide_task(SEEKING)

    # attacks

    def step_attack(self, direction: int) -> None:
        """To the next (+1) or previous (-1) strong attack, with playhead, view and close-up."""
        session, clips = self._parts.store.session, dict(self._parts.sounds.clips)
        if session is None:
            return
        here = round(self._parts.playing.state.position_samples)
        position = self._centre if self._centre is not None and abs(self._centre - here) < 2 else here
        self._direction, self._loop_s, self._wants_play = direction, None, False

        def seek(cancelled: Stopped) -> FoundAttack:
            return seek_attack(session, clips, position, direction, cancelled), None

        self._attacks.ask(seek)

    def _play_attack(self) -> None:
        """Play from the last attack before the playhead: again and again the same one, while it plays on."""
        read_caution(self._parts)
        self.step_attack(-1)
        self._wants_play = True

    def _loop_attack(self, loop_s: tuple[float, float]) -> None:
        """Loop around the first attack in view, or what sounds on after it."""
        session, clips = self._parts.store.session, dict(self._parts.sounds.clips)
        if session is None:
            return
        first = round(self._parts.times.seen[0])
        self._direction, self._loop_s, self._wants_play = 1, loop_s, False

        def seek(cancelled: Stopped) -> FoundAttack:
            attack = seek_attack(session, clips, first, 1, cancelled)
            if attack is None or loop_s is not SUSTAIN_LOOP_S:
                return attack, None
            after = attack + round((loop_s[0] + LEAST_SUSTAIN_S) * session.rate_hz)
            return attack, seek_attack(session, clips, after, 1, cancelled)

        self._attacks.ask(seek)

    def _show_attack(self, found: FoundAttack) -> None:
        centre, following = found
        session, parts = self._parts.store.session, self._parts
        if session is None:
            return
        if self._loop_s is not None and (centre is None or centre > parts.times.seen[1]):
            parts.messages.show_answer("There is no strong attack in view.")
            return
        if centre is None:
            where, back = ("after", "Shift+A goes back") if self._direction > 0 else ("before", "A goes on")
            parts.messages.show_answer(f"There is no strong attack {where} this place. {back}.")
            return
        self._centre = centre
        if self._loop_s is not None:
            start, stop = (centre + round(end * session.rate_hz) for end in self._loop_s)
            if following is not None:
                stop = min(stop, following - round(BEFORE_NEXT_S * session.rate_hz))
            first, last = session.span(session.current_version)
            parts.edits.loop(loop_allowed((max(start, first), min(stop, last)), session.rate_hz))
            parts.playing.set_looping(True)
        if self._wants_play:
            parts.playing.play_from(centre - PLAY_BEFORE_S * session.rate_hz)
        else:
            parts.playing.seek(centre)
        there = self.point_of_interest()
        first_seen, last_seen = parts.times.seen
        if not first_seen <= there <= last_seen or parts.times.view.per_pixel < 8:
            parts.times.centre_on(there)
        self._span_ms = None
        self.show_close_up()

    def point_of_interest(self) -> float:
        """The playhead; at an attack that was stepped to, where its first lane is drawn now."""
        session = self._parts.store.session
        here = self._parts.playing.state.position_samples
        if session is None or self._centre is None or abs(self._centre - here) >= 2:
            return here
        return drawn_attack(session, session.current_version, self._centre)

    def span_close_up(self, span_ms: float) -> None:
        """Show so many milliseconds around the attack."""
        self._span_ms = span_ms
        self.show_close_up()

    def show_close_up(self) -> None:
        """The close-up around the chosen attack, as the session now is."""
        session, centre, clips = self._parts.store.session, self._centre, dict(self._parts.sounds.clips)
        if session is None or centre is None:
            return
        span_ms = self._span_ms or span_ms_for(session)

        def work(_cancelled: Stopped) -> CloseUpData:
            return close_up(session, session.current_version, clips, centre, span_ms)

        self._close_ups.ask(work)

    def _put_close_up(self, data: CloseUpData) -> None:
        self._parts.side.tabs.close_up.show_close_up(data)

    def forget_attack(self) -> None:
        """Another take is on the desk."""
        self._centre = self._span_ms = None
        self._attacks.cancel()
        self._close_ups.cancel()
        self._parts.side.tabs.close_up.show_close_up(None)

    def follow(self, session: Session | None) -> None:
        """Keep the close-up to the session as it is now."""
        self.show_reading(None)  # it may have been given up with its take
        if session is not None and self._centre is not None and self._parts.side.tabs.close_up.isVisible():
            self.show_close_up()
