"""Commands about the chosen lanes and their findings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from msgspec.structs import replace
from PySide6.QtWidgets import QApplication

from lagline.desk.actions import Handler
from lagline.desk.following import to_follow
from lagline.desk.panels.accepting import SOUND, STRONG, left_text, listed, nothing_new_text, to_accept
from lagline.desk.panels.finding_texts import next_to_try, placed_index
from lagline.desk.parts import DeskParts
from lagline.session.findings import TrustWord
from lagline.session.shift_text import copied, shift_text, with_copied
from lagline.session.values import NO_MOVE, Lane, Session

COLUMNS = 256  # how finely what is in view is looked at


class LaneCommands:
    """Commands on the selected lanes and their findings."""

    def __init__(self, parts: DeskParts) -> None:
        self._parts = parts
        self._asked: Callable[[], None] | None = None  # what to accept once it is measured
        self._tried = ""  # what was said of the place that is being tried
        self.loop_to_hear: Callable[[Sequence[str]], tuple[int, int] | None] = lambda _: None
        self.let_hear: Callable[[], None] = lambda: None

    def handlers(self) -> dict[str, Handler]:
        """What each of these commands does, by its id."""
        stack = self._parts.lanes.stack
        nudges: dict[str, Handler] = {
            "earlier": partial(self._nudge, -1.0),
            "later": partial(self._nudge, 1.0),
            "earlier_fine": partial(self._nudge, -0.1),
            "later_fine": partial(self._nudge, 0.1),
            "earlier_ten": partial(self._nudge, -10.0),
            "later_ten": partial(self._nudge, 10.0),
            "earlier_ms": partial(self._nudge_ms, -1.0),
            "later_ms": partial(self._nudge_ms, 1.0),
        }
        return {
            **nudges,
            "lane_up": partial(stack.step, -1),
            "lane_down": partial(stack.step, 1),
            "extend_up": partial(self._extend, -1),
            "extend_down": partial(self._extend, 1),
            "choose_all": self._choose_all,
            "type_shift": self._type_shift,
            "type_gain": self._type_gain,
            "polarity": self._flip,
            "mute": self._mute,
            "solo": self._solo,
            "anchor": self._anchor,
            "link": self._link,
            "rename": self._rename,
            "move_up": partial(self._move, -1),
            "move_down": partial(self._move, 1),
            "remove": self._remove,
            "fold": stack.toggle_fold,
            "accept": self._accept,
            "accept_strong": partial(self._accept_all, STRONG),
            "accept_sound": partial(self._accept_all, SOUND),
            "runner_up": self._next_place,
            "put_back": self._put_back,
            "copy_shifts": self._copy_shifts,
            "paste_shifts": self._paste_shifts,
        }

    def accept(self, lane_ids: Sequence[str]) -> None:
        """Take findings over, let it be heard and say what came of it."""
        self._take_over(lane_ids, self._parts.edits.accept)

    def decide(self, lane_ids: Sequence[str]) -> None:
        """The same, but lanes that are only tried stay where they are tried."""
        self._take_over(lane_ids, self._parts.edits.decide)

    def _take_over(
        self, lane_ids: Sequence[str], take: Callable[[Sequence[str], tuple[int, int] | None], None]
    ) -> None:
        before = self._parts.store.session
        if before is None:
            return
        if before.alignment is None:
            self._not_measured("Nothing to accept", partial(self._take_over, lane_ids, take))
            return
        take(list(lane_ids), self.loop_to_hear(lane_ids))
        self._follow(before)
        if self._parts.store.session != before:
            self.let_hear()
            self._parts.messages.show_note(self._lined_up(lane_ids), "play", "Stop")
        elif all(
            before.alignment.finding(lane_id) is not None for lane_id in lane_ids
        ):  # else it was refused
            self._parts.messages.show_answer(nothing_new_text(before, lane_ids))

    def try_place(self, lane_id: str, index: int) -> None:
        """Put the lane at a place its finding allows and let it be heard; -1 is the finding itself."""
        before = self._parts.store.session
        if before is None:
            return
        self._parts.edits.try_place(lane_id, index, self.loop_to_hear([lane_id]))
        session = self._parts.store.session
        if session is None or session == before:
            return
        self._follow(before)
        self._parts.lanes.stack.show_read_out((lane_id,), stays=False)
        self.let_hear()
        name = session.lane(lane_id).name
        if lane_id in session.current_version.trying:
            self._tried = (
                f"Trying another place for {name}: X flips between before and now. Accept keeps it, "
                "Put back undoes it."
            )
            self._parts.messages.show_note(self._tried)
        else:
            self._parts.messages.show_answer(f"{name} is where it was before.")

    def _not_measured(self, what: str, then: Callable[[], None]) -> None:
        """Say so; while it is being measured, do it as soon as that is done."""
        if self._parts.measuring.is_busy:
            self._asked = then
            self._parts.messages.show_answer("The take is being measured: accepted as soon as that is done.")
        else:
            self._tell_not_measured(what)

    def show_session(self, session: Session | None) -> None:
        """What was said of a trial goes with the trial."""
        if self._tried and (session is None or not session.current_version.trying):
            self._parts.messages.withdraw(self._tried)
            self._tried = ""

    def accept_as_asked(self) -> None:
        """What was to be accepted while the measurement ran."""
        asked, self._asked = self._asked, None
        if asked is not None:
            asked()

    def forget_asked(self, _sentence: str = "") -> None:
        """Give up what was to be accepted once it is measured."""
        self._asked = None

    def _tell_not_measured(self, what: str) -> None:
        self._parts.messages.show_answer(f"{what}: measure first (Ctrl+M).", "measure", "Measure")

    def _follow(self, before: Session | None) -> None:
        """Let a close view go along with the lanes that left it."""
        session, times = self._session, self._parts.times
        if before is None or session is None:
            return
        by = to_follow(before, session, times.seen, self._peak_in, self._parts.lanes.stack.selection.current)
        if by:
            first, last = times.seen
            times.centre_on(0.5 * (first + last) + by)

    def _peak_in(self, lane_id: str, first: float, stop: float) -> float:
        data, lane = self._parts.sounds.data, self._lane(lane_id)
        whole = data.peak(lane_id, lane.frames(self._session.rate_hz)) if lane and self._session else 0.0
        found = data.columns(lane_id, first, max((stop - first) / COLUMNS, 1e-3), COLUMNS) if whole else None
        return 0.0 if found is None else max(float(found[1].max()), -float(found[0].min())) / whole

    def _lined_up(self, lane_ids: Sequence[str]) -> str:
        session = self._session
        names = [session.lane(each).name for each in lane_ids] if session is not None else []
        left = left_text(session, lane_ids) if session is not None else ""
        hear = "You hear it now: 1 and 2 switch between original and shifted."
        return " ".join(filter(None, (f"Lined up: {listed(names)}.", left, hear)))

    def ask_rename(self, lane_id: str) -> None:
        """Ask for a new name of the lane; nothing happens when none is given."""
        lane = self._lane(lane_id)
        if lane is not None:
            name = self._parts.questions.text("Rename the lane", "Name", lane.name)
            if name is not None:
                self._parts.edits.rename(lane_id, name)

    # inside

    @property
    def _session(self) -> Session | None:
        return self._parts.store.session

    def _lane(self, lane_id: str | None) -> Lane | None:
        return self._session.lane(lane_id) if self._session is not None and lane_id else None

    @property
    def _current(self) -> Lane | None:
        return self._lane(self._parts.lanes.stack.selection.current)

    @property
    def _chosen(self) -> tuple[str, ...]:
        return self._parts.lanes.stack.selection.chosen

    def _nudge(self, by_samples: float) -> None:
        self._parts.edits.nudge(self._chosen, by_samples)
        self._parts.lanes.stack.show_read_out(self._chosen, stays=False)

    def _nudge_ms(self, by_ms: float) -> None:
        self._parts.edits.nudge_ms(self._chosen, by_ms)
        self._parts.lanes.stack.show_read_out(self._chosen, stays=False)

    def _extend(self, by: int) -> None:
        stack = self._parts.lanes.stack
        selection, order = stack.selection, stack.order
        if selection.current is None:
            return
        # The end that moves is the one away from the current lane.
        places = [order.index(lane_id) for lane_id in selection.chosen]
        here = order.index(selection.current)
        end = max(places) if max(places) > here or (by > 0 and min(places) == here) else min(places)
        stack.select(selection.extended(order[min(max(end + by, 0), len(order) - 1)], order))

    def _choose_all(self) -> None:
        stack = self._parts.lanes.stack
        if stack.order:
            stack.select(replace(stack.selection, chosen=tuple(stack.order)))

    def _type_shift(self) -> None:
        if self._current is not None:
            self._parts.lanes.stack.row(self._current.id).header.focus_shift()

    def _type_gain(self) -> None:
        if self._current is not None:
            self._parts.lanes.stack.row(self._current.id).header.focus_gain()

    def _flip(self) -> None:
        self._parts.edits.flip_each(self._chosen)

    def _mute(self) -> None:
        self._parts.edits.mute_each(self._chosen)

    def _solo(self) -> None:
        self._parts.edits.solo_each(self._chosen)

    def _anchor(self) -> None:
        if self._current is not None:
            self._parts.edits.anchor(self._current.id)

    def _link(self) -> None:
        self._parts.edits.link(self._chosen)

    def _rename(self) -> None:
        if self._current is not None:
            self.ask_rename(self._current.id)

    def _move(self, by: int) -> None:
        order = self._parts.lanes.stack.order
        if self._current is None:
            return
        here = order.index(self._current.id)
        there = min(max(here + by, 0), len(order) - 1)
        order.insert(there, order.pop(here))
        self._parts.edits.order(order)

    def _remove(self) -> None:
        if self._session is not None and self._current is not None:
            if len(self._session.lanes) == 1:
                self._parts.messages.show_problem("One lane must stay. Close the take instead (Ctrl+W).")
            else:
                self._parts.edits.remove(self._current.id)

    def _accept(self) -> None:
        if self._session is not None and self._current is not None:
            self.decide(self._chosen)

    def _accept_all(self, words: tuple[TrustWord, ...]) -> None:
        session = self._session
        if session is not None and session.alignment is None:
            self._not_measured("Nothing to accept", partial(self._accept_all, words))
            return
        lane_ids = to_accept(session, words)
        if lane_ids:
            self.accept(lane_ids)
        elif session is not None:
            self._parts.messages.show_answer(
                f"Nothing to accept: no finding is {' or '.join(words)}. "
                "Look at the evidence, then accept one by one or by ear."
            )

    def _next_place(self) -> None:
        """Round and round: the finding itself, then its runners-up, best first."""
        session, lane = self._session, self._current
        finding = session.alignment.finding(lane.id) if session and session.alignment and lane else None
        if session is None or finding is None or lane is None:
            self._tell_not_measured("No place to try")
            return
        index = next_to_try(finding, placed_index(session, lane.id))
        if index is None:
            self._parts.messages.show_answer(f"{lane.name} has no other place: nothing else fits as well.")
        else:
            self.try_place(lane.id, index)

    def _put_back(self) -> None:
        """The chosen lanes; where none of them has left its place, those that are being tried."""
        version = self._session.current_version if self._session is not None else None
        if version is not None:
            left = [each for each in self._chosen if each in version.trying or version.move(each) != NO_MOVE]
            self._parts.edits.put_back_each(tuple(left or version.trying))

    def _copy_shifts(self) -> None:
        if self._session is not None and self._chosen:
            QApplication.clipboard().setText(shift_text(self._session, self._chosen))
            self._parts.messages.show_note(f"Copied the shifts of {self._names(self._chosen)}.")

    def _paste_shifts(self) -> None:
        """What was copied here or in another take: several by the names of their lanes."""
        text, chosen = QApplication.clipboard().text(), self._chosen
        self._parts.edits.apply("Paste shifts", lambda old: with_copied(old, copied(text), chosen))

    def _names(self, lane_ids: Sequence[str]) -> str:
        return listed([lane.name for lane in map(self._lane, lane_ids) if lane is not None])
