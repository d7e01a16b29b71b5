"""Runs the dialog that puts a setup on takes: opens, matches, measures, compares, saves."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

from msgspec.structs import replace
from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QWidget

from lagline.desk.analysis_thread import AnalysisThread
from lagline.desk.job import Job
from lagline.desk.setups import takes as on_takes
from lagline.desk.setups.apply_dialog import ApplySetupDialog
from lagline.desk.setups.asking import SetupQuestions, TakeQuestions
from lagline.desk.setups.further_takes import (
    FurtherTakes,
    Progress,
    Saved,
    Stopped,
    is_among,
    save_all,
    take_of,
    takes_below,
    with_own_name,
)
from lagline.desk.setups.takes import TakeOnSetup
from lagline.errors import LaglineError
from lagline.files import is_there
from lagline.jobs.apply_setup import options_for, path_beside, read_setup
from lagline.session.findings import Alignment
from lagline.session.setup import Setup
from lagline.session.values import Session


class ApplyingSetup(QObject):
    """One run of the dialog. It measures in a process of its own, so that the desk's Measure is left alone.

    Signals
    -------
    edit_requested(str name, Callable[[Session], Session]) : make this edit to the take on the desk.
    note(str) : what was saved, for the desk's message bar.
    """

    edit_requested = Signal(str, object)
    note = Signal(str)

    def __init__(
        self,
        setup: Setup,
        path: Path | None,
        session: Session | None,
        ask: TakeQuestions,
        ask_setup: SetupQuestions,
        folder: Path,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._setup, self._ask, self._ask_setup, self._folder_path = setup, ask, ask_setup, folder
        self._takes: list[TakeOnSetup] = []
        self._queue: list[int] = []  # takes still to be measured, the one that is being measured first
        self._to_measure = 0
        self._job: Job | None = None
        self._after_job: Callable[..., None] | None = None
        self._analysis = AnalysisThread(self)
        self._analysis.progressed.connect(self._show_progress)
        self._analysis.finished.connect(self._take_measured)
        self._analysis.failed.connect(self._take_failed)
        self.dialog = ApplySetupDialog(parent)
        self._connect()
        if session is not None:
            self._takes.append(on_takes.on_setup(setup, session, on_desk=True))
        self.dialog.show_setup(setup, path)
        self._show()
        self._analysis.warm_up()  # loads while the matches are looked through

    def _connect(self) -> None:
        dialog = self.dialog
        dialog.setup_wanted.connect(self._ask_other_setup)
        dialog.recordings_wanted.connect(self._ask_recordings)
        dialog.folder_wanted.connect(self._ask_folder)
        dialog.removal_requested.connect(self._remove)
        dialog.measure_requested.connect(self._measure)
        dialog.cancel_requested.connect(self._stop)
        dialog.match_requested.connect(self._match)
        dialog.use_requested.connect(self._use)
        dialog.chosen_requested.connect(self._choose)
        dialog.accept_requested.connect(self._accept)

    @property
    def takes(self) -> tuple[TakeOnSetup, ...]:
        return tuple(self._takes)

    def close(self) -> None:
        """End what runs; call once the dialog is closed."""
        self._queue.clear()
        self._analysis.close()
        if self._job is not None:
            self._job.cancel()
            self._job.wait()

    def _show(self) -> None:
        self.dialog.show_takes(self._takes)
        paths = [path_beside(take.session) for take in self._takes if _would_save(take)]
        self.dialog.show_in_the_way([path for path in paths if is_there(path)])

    # ---- setup and takes

    def _ask_other_setup(self) -> None:
        path = self._ask_setup.setup_to_open(self._folder_path)
        if path is None:
            return
        try:
            self._setup = read_setup(path)
        except LaglineError as error:
            self.dialog.say(str(error), is_bad=True)
            return
        self._takes = [
            replace(
                on_takes.on_setup(self._setup, old.session, on_desk=old.on_desk, problems=old.problems),
                alignment=old.alignment,
                failure=old.failure,
            )
            for old in self._takes
        ]
        self.dialog.show_setup(self._setup, path)
        self.dialog.say("")
        self._show()

    def _ask_recordings(self) -> None:
        paths = self._ask.files_to_open(self._folder_path, sessions=False)
        if paths:
            self._folder_path = paths[0].parent
            self._run("Opening recordings", partial(take_of, paths, self._setup.temperature_c), self._add)

    def _ask_folder(self) -> None:
        root = self._ask.folder_to_open(self._folder_path, "Add every take in and below a folder")
        if root is not None:
            self._folder_path = root
            look = partial(takes_below, root, self.dialog.pattern, self._setup.temperature_c)
            self._run("Looking for takes", look, self._add)

    def _add(self, found: FurtherTakes) -> None:
        said = list(found.failures)
        first_new = len(self._takes)
        for opened in found.opened:
            known = [take.session for take in self._takes]
            if is_among(opened.session, known):
                said.append(f"{opened.session.name} is on the list already.")
                continue
            session = with_own_name(opened.session, known)
            self._takes.append(on_takes.on_setup(self._setup, session, problems=opened.problems))
            said += opened.problems
        self.dialog.say("\n".join(said), is_bad=bool(found.failures))
        self._show()
        if len(self._takes) > first_new:
            self.dialog.takes.select(first_new)

    def _remove(self, number: int) -> None:
        if 0 <= number < len(self._takes):
            del self._takes[number]
            self.dialog.say("")
            self._show()

    # ---- choices

    def _match(self, number: int, lane_id: str, name: str) -> None:
        known = next((lane for lane in self._setup.lanes if lane.name == name), None)
        self._change(number, on_takes.rematched(self._takes[number], lane_id, known))

    def _use(self, number: int, lane_id: str, is_new: bool) -> None:
        if lane_id:
            self._change(number, on_takes.taking(self._takes[number], frozenset([lane_id]), is_new))
            return
        self._takes = [
            on_takes.taking(take, frozenset(lane.id for lane in take.session.lanes), is_new)
            for take in self._takes
        ]
        self._show()

    def _choose(self, number: int, is_chosen: bool) -> None:
        self._change(number, replace(self._takes[number], is_chosen=is_chosen))

    def _change(self, number: int, take: TakeOnSetup) -> None:
        self._takes[number] = take
        self._show()

    # ---- measuring

    def _measure(self) -> None:
        self._queue = [number for number, take in enumerate(self._takes) if take.is_chosen]
        self._to_measure = len(self._queue)
        self.dialog.say("")
        self._measure_next()

    def _measure_next(self) -> None:
        if not self._queue:
            self.dialog.show_idle()
            self._show()
            return
        take = self._takes[self._queue[0]]
        self.dialog.takes.select(self._queue[0])
        self._show_progress(0.0)
        self._analysis.measure(take.session, options_for(self._setup, take.known_lanes()))

    def _show_progress(self, fraction: float) -> None:
        if self._queue:
            done = self._to_measure - len(self._queue)
            self.dialog.show_measuring(self._queue[0], fraction, done, self._to_measure)

    def _take_measured(self, alignment: Alignment) -> None:
        self._after_one(lambda take: on_takes.measured(take, alignment))

    def _take_failed(self, sentence: str) -> None:
        self._after_one(lambda take: on_takes.failed(take, sentence))

    def _after_one(self, change: Callable[[TakeOnSetup], TakeOnSetup]) -> None:
        if self._queue:
            number = self._queue.pop(0)
            self._change(number, change(self._takes[number]))
            self._measure_next()

    def _stop(self) -> None:
        if self._job is not None:
            self._job.cancel()
            return
        self._queue.clear()
        self._analysis.cancel()
        self.dialog.show_idle()
        self.dialog.say("Stopped. What was measured before that is kept.")
        self._show()

    # ---- accepting

    def _accept(self, may_replace: bool) -> None:
        to_save: list[tuple[int, Session]] = []
        for number, take in enumerate(self._takes):
            if not take.is_chosen or take.done:
                continue
            if take.on_desk:
                edit = partial(on_takes.result, self._setup, take)
                self.edit_requested.emit(f"Apply setup {self._setup.name}".strip(), edit)
                self._takes[number] = replace(take, done="put on the take", is_chosen=False)
            else:
                to_save.append((number, on_takes.result(self._setup, take)))
        if not to_save:
            self.dialog.accept()
            return
        self._show()
        self._run("Saving sessions", partial(save_all, to_save, may_replace), self._show_saved)

    def _show_saved(self, saved: tuple[Saved, ...]) -> None:
        for one in saved:
            take = self._takes[one.number]
            if not one.failure:
                self._takes[one.number] = replace(take, done=f"saved as {one.path.name}", is_chosen=False)
        failures = [one.failure for one in saved if one.failure]
        count = len(saved) - len(failures)
        text = f"{count} session{'s' if count != 1 else ''} saved beside the recordings."
        self._show()
        if failures:
            self.dialog.say("\n".join([text, *failures]), is_bad=True)
        else:
            self.dialog.show_done(text)
        if count:
            self.note.emit(text)

    # ---- jobs

    def _run(
        self, title: str, work: Callable[[Progress, Stopped], object], done: Callable[..., None]
    ) -> None:
        if self._job is not None:
            return
        job = self._job = Job(title, work)
        self._after_job = done
        job.done.connect(self._job_done)
        job.failed.connect(self._job_failed)
        job.cancelled.connect(self._job_cancelled)
        job.finished.connect(self._forget_job)
        self.dialog.show_busy(f"{title} …")
        job.start()

    def _job_done(self, value: object) -> None:
        self.dialog.show_idle()
        if self._after_job is not None:
            self._after_job(value)

    def _job_failed(self, sentence: str) -> None:
        self.dialog.show_idle()
        self.dialog.say(sentence, is_bad=True)

    def _job_cancelled(self) -> None:
        self.dialog.show_idle()
        self.dialog.say("Stopped; nothing was added.")

    def _forget_job(self) -> None:
        self._job = None


def _would_save(take: TakeOnSetup) -> bool:
    return take.is_chosen and not take.on_desk and not take.done
