"""All commands together, and the small reactions that belong to none of them alone."""

from __future__ import annotations

from functools import partial

from lagline.desk.actions import Actions, Handler
from lagline.desk.amounts import time_text
from lagline.desk.commanding.board_commands import BoardCommands
from lagline.desk.commanding.dialog_commands import DialogCommands
from lagline.desk.commanding.lane_commands import LaneCommands
from lagline.desk.commanding.listen_commands import ListenCommands
from lagline.desk.commanding.marker_commands import MarkerCommands
from lagline.desk.commanding.restore_commands import RestoreCommands
from lagline.desk.commanding.same_sound import SameSoundCommands
from lagline.desk.commanding.takes_commands import TakesCommands
from lagline.desk.commanding.takes_watching import TakesWatching
from lagline.desk.commanding.tone_commands import ToneCommands
from lagline.desk.commanding.view_commands import ViewCommands
from lagline.desk.commanding.work_commands import WorkCommands
from lagline.desk.guide.guide_commands import GuideCommands
from lagline.desk.lanes.selection import Selection
from lagline.desk.parts import DeskParts
from lagline.desk.setups.setup_commands import SetupCommands
from lagline.desk.sheet_commands import SheetCommands
from lagline.desk.welcome.first_run import Answers, welcome
from lagline.session.values import Session

HINT = "Drag to choose time, a lane’s grip to shift it · wheel zooms · 1 original, 2 shifted · F1: every key"


class DeskCommands:
    """All that keys, menus and buttons can ask of the desk, by command name."""

    def __init__(self, parts: DeskParts) -> None:
        self._parts = parts
        self.lane = LaneCommands(parts)
        self.listen = ListenCommands(parts)
        self.view = ViewCommands(parts)
        self.work = WorkCommands(parts)
        self.view.point_of_interest = self.work.point_of_interest
        self.dialogs = DialogCommands(parts)
        self.tone = ToneCommands(parts)
        self.board = BoardCommands(parts, self.listen)
        self.points = RestoreCommands(parts)
        self.same_sound = SameSoundCommands(parts)
        self.markers = MarkerCommands(parts)
        self.setups = SetupCommands(parts)
        self.sheets = SheetCommands(parts)
        self.takes = TakesCommands(parts)
        self.watching = TakesWatching(parts)
        self.guide = GuideCommands(parts)
        self._actions: Actions | None = None
        self.work.stop, self.work.give_up = self.stop, self.same_sound.end
        self.lane.loop_to_hear, self.lane.let_hear = self.listen.loop_to_hear, self.listen.let_hear
        self.same_sound.let_hear = self.listen.let_hear

    def handlers(self) -> dict[str, Handler]:
        """What each command of the desk does, by its id."""
        return {
            **self.lane.handlers(),
            **self.listen.handlers(),
            **self.view.handlers(),
            **self.work.handlers(),
            **self.dialogs.handlers(),
            **self.points.handlers(),
            **self.same_sound.handlers(),
            **self.markers.handlers(),
            "welcome": self.welcome,
            **self.setups.handlers(),
            **self.sheets.handlers(),
            **self.takes.handlers(),
            **self.watching.handlers(),
            **self.guide.handlers(),
        }

    def welcome(self) -> None:
        welcome(self._parts, Answers(self.view.show_unit, self.listen.use, self.listen.show_caution))

    def welcome_newcomer(self) -> None:
        """Only at the first start; afterwards it is shown when it is asked for."""
        if not self._parts.settings.welcomed:
            self.welcome()

    def restore(self, actions: Actions) -> None:
        """Now that the actions are there: everything as the last run left it."""
        self._actions = self.listen.actions = actions
        self.takes.check_shown = partial(actions.check, "takes_list")
        self.watching.check_on = partial(actions.check, "takes_watch")
        self.view.restore(actions)
        self.listen.restore()
        self._parts.foot.show_hint(HINT)

    def show_session(self, session: Session | None) -> None:
        if self._actions is not None:
            self._actions.show_take(session is not None)
        self.lane.show_session(session)
        self.listen.show_session(session)
        self.dialogs.show_session(session)

    def show_chosen(self) -> None:
        """What stretch of time is chosen, and what can be done with it."""
        chosen, session = self._parts.times.chosen, self._parts.store.session
        if chosen is None or session is None:
            self._parts.foot.show_hint(HINT)
            return
        start, stop = (time_text(end, session.rate_hz) for end in chosen)
        length_s = (chosen[1] - chosen[0]) / session.rate_hz
        self._parts.foot.show_hint(
            f"Chosen: {start} to {stop}, {length_s:.3f} s · L loops it · Shift+Z shows it · a click lets go"
        )

    def show_selection(self, selection: Selection) -> None:
        """The lane with the cursor is the one whose evidence is shown."""
        self._parts.side.tabs.findings.select_lane(selection.current)
        self._parts.side.tabs.evidence.show_lane(selection.current)

    def choose_lane(self, lane_id: str) -> None:
        self._parts.lanes.stack.select(Selection().only(lane_id))
        self._parts.side.tabs.evidence.show_lane(lane_id)

    def go_to_time(self, time_s: float) -> None:
        """To a passage the evidence points at."""
        session = self._parts.store.session
        if session is not None:
            sample = time_s * session.rate_hz
            self._parts.playing.seek(sample)
            self._parts.times.centre_on(sample)

    def point_at_time(self, time_s: float | None) -> None:
        """Mark a passage that the evidence shows, and bring it into view; None takes the mark away."""
        session = self._parts.store.session
        sample = None if session is None or time_s is None else time_s * session.rate_hz
        self._parts.lanes.point_at(sample)
        if sample is not None:
            self._parts.times.reveal(sample)

    def stop(self, title: str) -> None:
        """Stop what the foot shows under this title; anything else is the opening of recordings."""
        stops = {
            **self.work.stops(),
            **self.tone.stops(),
            **self.board.stops(),
            **self.takes.stops(),
            "Delivering": self.dialogs.stop_export,
        }
        stops.get(title, self._parts.files.cancel)()

    def close(self) -> None:
        """Let go of everything that runs in the background."""
        self.work.close()
        self.tone.close()
        self.board.close()
        self.watching.close()
        self.takes.close()
        self.dialogs.close()
        self.points.close()
        self.same_sound.close()
        self.guide.close()
