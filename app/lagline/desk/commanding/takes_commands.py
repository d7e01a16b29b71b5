"""Commands for a day's takes: make the list, open its takes, and work on many of them at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec.structs import replace
from PySide6.QtCore import QObject

from lagline.day.asking import Asked, Decide, Outcome, decided_version, session_of
from lagline.day.document import SUFFIX, load_day, place_of_list
from lagline.day.facts import facts_of
from lagline.day.values import Day, DayTake
from lagline.desk.actions import Handler
from lagline.desk.commanding.carried import carried_from, carry_over, with_its_loop
from lagline.desk.job import Job, Progress, Stopped
from lagline.desk.parts import DeskParts
from lagline.desk.take_files import Look
from lagline.errors import LaglineError
from lagline.files import is_file
from lagline.jobs.find_takes import FoundTake
from lagline.session.setup import Setup, setup_of
from lagline.session.storage import stamp
from lagline.session.values import Session

if TYPE_CHECKING:  # the dialogs, and what loads the analysis, load when they are first used
    from lagline.day.listing import Listed
    from lagline.day.papers import Papers
    from lagline.desk.day.list_dialog import ListDialog, ListWish
    from lagline.desk.day.takes_dialogs import DecideDialog, DeliverDialog, HoldDialog
    from lagline.desk.setups.asking import SetupQuestions

LISTING, WORKING = "Listing the takes", "Working on the takes"


class TakesCommands(QObject):
    """The list and everything that is done with it."""

    def __init__(self, parts: DeskParts, ask_setup: SetupQuestions | None = None) -> None:
        """`ask_setup` is for tests; by default the file dialogs of the system."""
        super().__init__(parts.window)
        self._ask_setup = ask_setup
        self._parts = parts
        self._listing: Job | None = None
        self._awaits_list = False  # the job's thread ends a little after its list is here
        self._asked_session: Session | None = None  # the desk's, as it was handed to the work
        self._followed: tuple[str, Session | None] = (
            "",
            None,
        )  # the take on the desk, and what is there of it
        self._folder: Path | None = None  # delivered into last
        self.check_shown: Callable[[bool], None] = lambda _: None  # the menu's tick; the desk sets it
        parts.takes.changed.connect(self._show_day)
        parts.takes.compared.connect(parts.takes_panel.show_differences)
        parts.takes.problem.connect(parts.messages.show_problem)
        parts.takes_panel.open_requested.connect(self.open_take)
        parts.takes_panel.command_requested.connect(self._run)
        parts.takes_panel.stop_requested.connect(parts.takes_work.stop)
        parts.takes_work.outcome.connect(self._take_outcome)
        parts.takes_work.progressed.connect(self._show_progress)
        parts.takes_work.over.connect(self._end_work)
        parts.takes_work.papers.connect(self._tell_papers)
        parts.store.history_changed.connect(self._follow_desk)
        parts.files.list_wanted.connect(self.open_file)

    def handlers(self) -> dict[str, Handler]:
        """What each command does, by its id."""
        return {
            "takes_open": self.open_list,
            "takes_list": self.toggle,
            "takes_measure": self.measure,
            "takes_setup": self.hold,
            "takes_accept": self.accept,
            "takes_accept_moved": self.accept_moved,
            "takes_decide": self.decide,
            "takes_deliver": self.deliver,
            "takes_retry": self.retry,
            "take_next": partial(self.step, 1),
            "take_before": partial(self.step, -1),
        }

    def stops(self) -> dict[str, Handler]:
        """How to stop what the foot shows, by its title."""
        return {WORKING: self._parts.takes_work.stop, LISTING: self._stop_listing}

    def close(self) -> None:
        """End the work; what is done of it is kept."""
        self._stop_listing()
        if self._listing is not None:
            self._listing.wait()

    def _run(self, command_id: str) -> None:
        self.handlers()[command_id]()

    # the list

    def open_list(self) -> None:
        """Ask for a folder, then how takes are told apart in it, then make the list."""
        from lagline.desk.day.list_dialog import ListDialog

        parts = self._parts
        root = parts.questions.folder_to_open(parts.settings.folder, "A folder with a day’s takes")
        if root is None:
            return
        parts.settings.folder = root
        known = self._known_list([root])
        dialog = ListDialog(known.roots if known is not None else [root], known, parts.window)
        dialog.folder_requested.connect(partial(self._ask_further, dialog))
        dialog.list_requested.connect(self.make_list)
        parts.questions.show(dialog)

    def _ask_further(self, dialog: ListDialog) -> None:
        folder = self._parts.questions.folder_to_open(self._parts.settings.folder, "A further folder")
        if folder is not None:
            dialog.add_folder(folder)

    def _known_list(self, roots: Sequence[Path]) -> Day | None:
        path = place_of_list(roots)
        try:
            return load_day(path) if is_file(path) else None
        except LaglineError as error:
            self._parts.messages.show_problem(str(error))
            return None

    def open_file(self, path: Path) -> None:
        """Open a list by its file."""
        from lagline.desk.day.list_dialog import ListWish

        try:
            day = load_day(path)
        except LaglineError as error:
            self._parts.messages.show_problem(str(error))
            return
        self.make_list(ListWish(day.roots or (path.absolute().parent,), day.told_by, day.pattern), path)

    def make_list(self, wish: ListWish, kept_in: Path | None = None) -> None:
        """List the takes in the background; what an earlier list of these folders knows is taken over."""
        if self._listing is not None or self._parts.takes_work.is_busy:
            self._parts.messages.show_problem("The takes are being worked on. Stop that first (Esc).")
            return
        self._parts.takes.settle()
        path = (kept_in or place_of_list(wish.roots)).absolute()
        if kept_in is None and is_file(path) and self._known_list(wish.roots) is None:
            path = _free(path)  # what cannot be read is somebody's: it stays

        def work(progress: Progress, cancelled: Stopped) -> tuple[Listed, Path, str | None]:
            from lagline.day.listing import listed

            known, known_stamp = (load_day(path), stamp(path)) if is_file(path) else (None, None)
            found = listed(
                wish.roots, wish.told_by, wish.pattern, before=known, progress=progress, cancelled=cancelled
            )
            return found, path, known_stamp

        self._awaits_list = True
        job = self._listing = Job(LISTING, work, self)
        job.progressed.connect(partial(self._parts.foot.show_task, LISTING))
        job.done.connect(self._take_list)
        job.failed.connect(self._parts.messages.show_problem)
        job.finished.connect(self._listing_over)
        self._parts.foot.show_task(LISTING, None)
        job.start()

    def _stop_listing(self) -> None:
        if self._listing is not None:
            self._listing.cancel()

    def _listing_over(self) -> None:
        self._listing, self._awaits_list = None, False
        self._parts.foot.hide_task(LISTING)

    def _take_list(self, made: tuple[Listed, Path, str | None]) -> None:
        found, path, known_stamp = made
        self._awaits_list = False
        self._parts.takes.open(found.day, path, known_stamp)
        self.show(True)
        self._follow_desk()
        self._parts.takes_panel.table.setFocus()
        for problem in reversed(found.problems):
            self._parts.messages.show_problem(problem)

    def toggle(self) -> None:
        self.show(self._parts.takes_panel.isHidden())

    def show(self, on: bool) -> None:
        """Show the list, or put it away."""
        if on and self._parts.takes.day is None:
            self.check_shown(False)
            self.open_list()
            return
        self._parts.takes_panel.setVisible(on)
        self.check_shown(on)

    def _show_day(self, day: Day) -> None:
        self._parts.takes_panel.show_day(day)

    # opening

    def open_take(self, name: str) -> None:
        """Put a take of the list onto the desk, looked at as the one before where the lanes are the same."""
        parts, day = self._parts, self._parts.takes.day
        take = day.take(name) if day is not None else None
        if take is None or self._on_desk() is take:
            return
        carried = carried_from(parts)
        look = None
        if carried is not None:
            look = Look(partial(with_its_loop, carried), partial(carry_over, carried, parts))
        saved = take.session if is_file(take.session) else None
        parts.files.open_listed(FoundTake(take.name, take.paths), saved, look)

    def step(self, by: int) -> None:
        """The next take of the list, or the one before."""
        day = self._parts.takes.day
        if day is None or not day.takes:
            self.show(True)
            return
        here = self._marked()
        at = day.takes.index(here) + by if here is not None else 0
        if 0 <= at < len(day.takes):
            self.open_take(day.takes[at].name)

    def _marked(self) -> DayTake | None:
        """The line of what is open: its session, or another of its recordings."""
        session, day = self._parts.store.session, self._parts.takes.day
        if session is None or day is None:
            return None
        own = next((take for take in day.takes if take.session == self._parts.store.path), None)
        of = frozenset(lane.source.path for lane in session.lanes)
        return own or next((take for take in day.takes if of == frozenset(take.paths)), None)

    def _on_desk(self) -> DayTake | None:
        """The take whose session is open; while it has no file, whatever is open of its recordings."""
        take = self._marked()
        is_its_own = take is not None and (
            take.session == self._parts.store.path or not is_file(take.session)
        )
        return take if is_its_own else None

    def _follow_desk(self) -> None:
        """Another take is open, or the open one was saved: its line says so."""
        take, marked, store = self._on_desk(), self._marked(), self._parts.store
        self._parts.takes_panel.show_open(marked.name if marked is not None else "")
        path, session, day = store.path, store.session, self._parts.takes.day
        if take is None and day is not None and session is not None and session is self._followed[1]:
            take = day.take(self._followed[0])  # it was saved as another file
        if take is None or session is None:
            self._followed = ("", None)
            return
        self._followed = (take.name, session)
        if path is None or store.is_modified:
            return
        known = self._parts.keeping.hold.stamp
        if known and (take.facts is None or take.facts.stamp != known or take.session != path):
            facts = facts_of(session, known)
            self._parts.takes.change_take(replace(take, session=path, facts=facts))

    # work on many

    def measure(self) -> None:
        from lagline.day.choosing import to_measure

        day = self._parts.takes.day
        if day is not None:
            self._start(
                to_measure(day, self._parts.takes_panel.chosen),
                "Every take is measured. Choose several lines to measure those again.",
            )

    def hold(self) -> None:
        """Choose what the takes are held against."""
        from lagline.desk.day.takes_dialogs import HoldDialog

        parts, day = self._parts, self._parts.takes.day
        if day is None:
            return
        done = [take for take in day.takes if take.state not in ("new", "measured")]
        dialog = HoldDialog(done, self._current_name(), parts.window)
        dialog.accepted.connect(partial(self._hold, dialog))
        parts.questions.show(dialog)

    def _hold(self, dialog: HoldDialog) -> None:
        from lagline.desk.setups.asking import SetupQuestions
        from lagline.jobs.apply_setup import read_setup

        parts, day = self._parts, self._parts.takes.day
        if day is None:
            return
        setup: Setup | None = None
        try:
            if dialog.against == "take":
                setup = self._setup_of(dialog.take)
            elif dialog.against == "file":
                path = (self._ask_setup or SetupQuestions(parts.window)).setup_to_open(parts.settings.folder)
                if path is None:
                    return
                setup = read_setup(path)
        except LaglineError as error:
            parts.messages.show_problem(str(error))
            return
        parts.takes.change(replace(day, setup=setup))

    def accept(self) -> None:
        from lagline.day.choosing import to_accept

        day = self._parts.takes.day
        if day is not None:
            chosen = to_accept(day, self._parts.takes_panel.chosen)
            self._start(chosen, "No measured take waits in which nothing differs.")

    def accept_moved(self) -> None:
        from lagline.day.choosing import to_accept_moved

        day = self._parts.takes.day
        if day is not None:
            chosen = to_accept_moved(day, self._parts.takes_panel.chosen)
            self._start(chosen, "No measured take waits to be accepted.")

    def decide(self) -> None:
        """Ask whose version all are to have."""
        from lagline.day.choosing import to_decide
        from lagline.desk.day.takes_dialogs import DecideDialog

        parts, day = self._parts, self._parts.takes.day
        if day is None:
            return
        chosen = parts.takes_panel.chosen
        ready = [take for take in day.takes if take.state not in ("new", "measured")]
        count = len(to_decide(chosen, Decide(Setup("", 1, ()), "")))
        if not ready or not count:
            parts.messages.show_problem("No take is lined up yet: measure them, and accept what was found.")
            return
        dialog = DecideDialog(ready, self._current_name(), count, parts.window)
        dialog.accepted.connect(partial(self._decide, dialog))
        parts.questions.show(dialog)

    def _decide(self, dialog: DecideDialog) -> None:
        from lagline.day.choosing import to_decide

        wish = dialog.wish
        try:
            model = self._setup_of(wish.take)
        except LaglineError as error:
            self._parts.messages.show_problem(str(error))
            return
        what = Decide(model, wish.name, wish.timing)
        self._start(to_decide(self._parts.takes_panel.chosen, what), "No take is lined up yet.")

    def deliver(self) -> None:
        """Ask how all are to be delivered."""
        from lagline.day.choosing import is_ready, to_deliver
        from lagline.desk.day.takes_dialogs import DeliverDialog

        parts, day = self._parts, self._parts.takes.day
        if day is None:
            return
        chosen = parts.takes_panel.chosen
        if not any(is_ready(take) for take in chosen):
            parts.messages.show_problem("No take is lined up yet: measure them, and accept what was found.")
            return
        dialog = DeliverDialog(self._folder, lambda wish: len(to_deliver(chosen, wish)), parts.window)
        dialog.folder_requested.connect(partial(self._ask_folder, dialog))
        dialog.accepted.connect(partial(self._deliver, dialog))
        parts.questions.show(dialog)

    def _ask_folder(self, dialog: DeliverDialog) -> None:
        start = self._folder or self._parts.settings.folder
        folder = self._parts.questions.folder_to_open(start, "Deliver into")
        if folder is not None:
            dialog.show_folder(folder)

    def _deliver(self, dialog: DeliverDialog) -> None:
        from lagline.day.choosing import to_deliver

        wish = dialog.wish
        self._folder = wish.folder
        here = self._on_desk()
        if here is not None and self._parts.store.is_modified and not self._parts.keeping.save():
            return
        chosen = to_deliver(self._parts.takes_panel.chosen, wish)
        self._start(chosen, "These takes are delivered already.")

    def retry(self) -> None:
        """Once more what failed of the last work."""
        from lagline.day.choosing import to_retry

        day, work = self._parts.takes.day, self._parts.takes_work
        if day is not None:
            self._start(to_retry(day, work.asked), "Nothing of the last work failed.")

    def _current_name(self) -> str:
        """The take that a person means: the one on the desk, else the one with the cursor."""
        here = self._marked()
        if here is not None:
            return here.name
        row = self._parts.takes_panel.table.currentIndex().row()
        takes = self._parts.takes_panel.model.takes
        return takes[row].name if 0 <= row < len(takes) else ""

    def _setup_of(self, name: str) -> Setup:
        """A take's version that goes out as a setup. Raises LaglineError."""
        day = self._parts.takes.day
        take = day.take(name) if day is not None else None
        assert take is not None  # it was chosen from the list
        here = self._on_desk()
        session = self._parts.store.session if here is take else None
        if session is None:
            session, _ = session_of(take)
        version = session.version(decided_version(session, take))
        return setup_of(session, version, take.name)

    def _start(self, asked: Sequence[Asked], nothing: str) -> None:
        """The take on the desk is worked on as it is there, and changed there: it can be undone."""
        parts, day = self._parts, self._parts.takes.day
        if day is None or parts.takes_work.is_busy:
            return
        if self._awaits_list:
            parts.messages.show_problem("The takes are being listed. Wait until they are, or stop it (Esc).")
            return
        if not asked:
            parts.messages.show_note(nothing)
            return
        here, self._asked_session = self._on_desk(), parts.store.session
        asked = [
            replace(one, session=self._asked_session)
            if here is not None and one.take.name == here.name
            else one
            for one in asked
        ]
        parts.takes_work.start(WORKING, asked, day)
        parts.foot.show_task(WORKING, 0.0)
        parts.takes_panel.show_progress(0.0, f"0 of {len(asked)}")

    def _take_outcome(self, outcome: Outcome) -> None:
        take = outcome.take
        if outcome.session is not None:
            take = self._put_on_desk(outcome, outcome.session)
        self._parts.takes.change_take(take)

    def _put_on_desk(self, outcome: Outcome, session: Session) -> DayTake:
        """The open take's own result, as an edit that is saved; not over what was edited meanwhile."""
        store = self._parts.store
        if store.session is not self._asked_session:
            told = "it was edited on the desk meanwhile, so nothing was put on it. Try again."
            return replace(outcome.take, error=told)
        store.apply("Work on the takes", lambda _: session)
        self._asked_session = store.session
        if store.path is None:
            self._parts.keeping.save_at(outcome.take.session)
        elif store.is_modified:
            self._parts.keeping.save()
        known = self._parts.keeping.hold.stamp
        facts = facts_of(session, known or "")
        return replace(outcome.take, facts=facts, session=store.path or outcome.take.session)

    def _show_progress(self, fraction: float, words: str) -> None:
        self._parts.foot.show_task(WORKING, fraction)
        self._parts.takes_panel.show_progress(fraction, words)

    def _end_work(self, sentence: str) -> None:
        parts = self._parts
        parts.foot.hide_task(WORKING)
        parts.takes_panel.show_idle()
        day = parts.takes.day
        asked = {one.take.name for one in parts.takes_work.asked}
        takes = day.takes if day is not None else ()
        failed = [take for take in takes if take.error and take.name in asked]
        if sentence:
            parts.messages.show_problem(sentence)
        elif failed:
            some = f"{len(failed)} takes" if len(failed) > 1 else failed[0].name
            parts.messages.show_notice(
                f"The work on {some} failed; the list says why.", "takes_retry", "Try again"
            )

    def _tell_papers(self, papers: Papers) -> None:
        for problem in papers.problems:
            self._parts.messages.show_problem(problem)
        self._parts.messages.show_note(f"Delivered, with {', '.join(path.name for path in papers.paths)}.")


def _free(path: Path) -> Path:
    number = 2
    while is_file(path.with_name(f"{path.stem} ({number}){SUFFIX}")):
        number += 1
    return path.with_name(f"{path.stem} ({number}){SUFFIX}")
