"""Takes and sessions in and out of the desk: open, add, save, recent, and nothing lost by mistake."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from msgspec.structs import replace
from PySide6.QtCore import QObject, Signal

from lagline.desk.adding import already_there, with_added
from lagline.desk.autosaver import Autosaver
from lagline.desk.job import Job
from lagline.desk.proposed_place import proposed_place
from lagline.desk.questions import Questions, in_lines
from lagline.desk.settings import DeskSettings
from lagline.desk.store import SessionStore
from lagline.errors import LaglineError
from lagline.files import is_folder
from lagline.jobs.demo import demo_session_path, is_demo
from lagline.jobs.open_take import OpenedTake, only_lane, open_take
from lagline.jobs.session_beside import session_beside
from lagline.jobs.sources import (
    SourceProblem,
    as_they_are,
    found_again,
    source_problems,
    where_they_are,
    with_fingerprints,
)
from lagline.session.autosave import autosave_path, left_behind, set_aside, unsaved_left_behind
from lagline.session.storage import SUFFIX, load, save
from lagline.session.values import Session

Checked = tuple[Session, Sequence[SourceProblem]]  # and what is wrong with its recordings


class TakeFiles(QObject):
    """Puts sessions into the store and onto the disk. Reading recordings' headers is a job on a thread."""

    opened = Signal(object)  # the Session that was opened
    replaced = Signal()  # told before `opened` when it is another take, not the same with more in it
    demo_opened = Signal()  # told after `opened`: a demo take that nothing was decided on yet
    problem = Signal(str)
    note = Signal(str)
    busy = Signal(str)  # what is under way; empty when it is over

    def __init__(
        self, store: SessionStore, settings: DeskSettings, questions: Questions, parent: QObject | None = None
    ) -> None:
        super().__init__(parent)
        self._store, self._settings, self._ask = store, settings, questions
        self._job: Job | None = None  # whose result is waited for
        self._unfinished: list[Job] = []  # with those that were given up: a thread must not be let go of
        self._recovered: Session | None = None  # never saved, and not to be had again by opening its files
        self._to_tell = ""  # once the session that is being opened is there
        self.autosaver = Autosaver(store, self._would_lose, self)
        self.autosaver.problem.connect(self.problem)

    # opening

    def ask_open(self) -> None:
        self._open_chosen(self._ask.files_to_open(self._settings.folder))

    def ask_open_folder(self) -> None:
        folder = self._ask.folder_to_open(self._settings.folder)
        self._open_chosen([folder] if folder else [])

    def _open_chosen(self, paths: list[Path]) -> None:
        if paths:
            self._settings.folder = paths[0] if is_folder(paths[0]) else paths[0].parent
            self.open(paths)

    def open_demo(self) -> None:
        try:
            self.open([demo_session_path()])
        except LaglineError as error:
            self.problem.emit(str(error))

    def open(self, paths: Sequence[Path]) -> None:
        """Open a session file, or recordings and folders as a new take; asks about unsaved changes first."""
        sessions = [path for path in paths if path.suffix == SUFFIX and not is_folder(path)]
        if sessions and len(paths) > 1:
            self.problem.emit(
                f"Open {sessions[0].name} by itself: a session already names its recordings. "
                "To add recordings to it, open it first, then add them."
            )
            return
        if not self.may_leave():
            return
        if sessions:
            self._open_session(sessions[0])
        else:
            self._open_take(list(paths))

    def take_dropped(self, paths: Sequence[Path]) -> None:
        """Open what was dropped; single recordings may belong to the take that is open already."""
        session = self._store.session
        are_recordings = not any(path.suffix == SUFFIX or is_folder(path) for path in paths)
        if paths and session is not None and are_recordings and self._ask.can_ask:
            answer = self._ask.dropped([path.name for path in paths], self._store.name)
            if answer == "add":
                self.add_paths(paths)
            if answer != "open":
                return
        self.open(paths)

    def add(self) -> None:
        self.add_paths(self._ask.files_to_open(self._settings.folder, sessions=False))

    def add_paths(self, paths: Sequence[Path]) -> None:
        session = self._store.session
        if not paths or session is None:
            return
        rate_hz, temperature_c = session.rate_hz, session.temperature_c

        def work(_progress: Any, _cancelled: Any) -> OpenedTake:
            return open_take(paths, rate_hz=rate_hz, temperature_c=temperature_c)

        self._start("Adding recordings", work, self._take_added)

    def offer_left_behind(self) -> bool:
        """Ask about never-saved work of a desk that ended without saying goodbye; the newest is enough.

        True when it is on the desk again.
        """
        for file in unsaved_left_behind():
            try:
                session = load(file)
            except LaglineError as error:
                self.problem.emit(str(error))
                continue
            if self._recover(file, session.name):
                self._show(session, None, saved=False)
                self._recovered = session
                self.autosaver.adopt(file)
                return True
        return False

    def _open_take(self, paths: list[Path]) -> None:
        def work(_progress: Any, _cancelled: Any) -> tuple[OpenedTake, Path | None]:
            opened = open_take(paths)
            return opened, session_beside(opened.session)

        self._start("Opening recordings", work, self._take_opened)

    def _open_session(self, path: Path, told: str = "") -> None:
        self._to_tell = told

        def work(_progress: Any, _cancelled: Any) -> tuple[Path, list[Checked]]:
            session, newer = load(path), left_behind(path)
            known = [] if newer is None else [with_fingerprints(newer)]
            return path, [(one, source_problems(one)) for one in (with_fingerprints(session), *known)]

        self._start(f"Opening {path.name}", work, self._session_loaded)

    def cancel(self) -> None:
        """Give up opening or adding; what has been read so far is dropped."""
        if self._job is not None:
            self._job.cancel()
            self._job = None
            self.busy.emit("")

    def _start(self, title: str, work: Callable[..., Any], done: Callable[[Any], None]) -> None:
        """Do this instead of what is under way."""
        if self._job is not None:
            self._job.cancel()
            self.note.emit(f"{self._job.title} was given up for what you asked for after it.")
        job = self._job = Job(title, work, drops_when_stopped=True)
        self._unfinished.append(job)
        job.done.connect(done)
        job.failed.connect(self.problem)
        job.finished.connect(self._job_over)
        self.busy.emit(title)
        job.start()

    def _job_over(self) -> None:
        job = self.sender()
        self._unfinished = [one for one in self._unfinished if one is not job]
        if job is self._job:
            self._job = None
            self.busy.emit("")

    def _take_opened(self, found: tuple[OpenedTake, Path | None]) -> None:
        opened, beside = found
        if beside is not None and not is_demo(beside) and self._wants_saved(beside):
            self._job = None  # it is done: nothing is given up for the session
            told = f"{beside.name}, saved beside these recordings, was opened."
            self._open_session(beside, "" if self._ask.can_ask else told)
            return
        self._show(opened.session, None, saved=False)
        self._tell(opened.problems)

    def _wants_saved(self, beside: Path) -> bool:
        """Whether to go on with the session beside the recordings; it is, where nobody can be asked."""
        return not self._ask.can_ask or self._ask.yes(
            "A session of these recordings",
            f"{beside.name}, a session of these recordings, lies beside them.",
            "Open it, or start anew? Starting anew leaves it as it is.",
            "Open the session",
            "Start anew",
        )

    def _take_added(self, opened: OpenedTake) -> None:
        names = ", ".join(lane.name for lane in opened.session.lanes)
        before = self._store.session
        twice = already_there(before, opened.session) if before is not None else ()
        self._store.apply(f"Add {names}", lambda old: with_added(old, opened.session))
        if self._store.session is not None:
            self.opened.emit(self._store.session)
        if twice:
            self.problem.emit(
                f"{', '.join(twice)}: this take had the same recording already. It is in it twice now; "
                "Ctrl+Z takes it out again."
            )
        alone = only_lane(opened.session.lanes[0].name)  # it is not: it joins the take
        self._tell([sentence for sentence in opened.problems if sentence != alone])

    def _session_loaded(self, found: tuple[Path, list[Checked]]) -> None:
        path, (saved, *newer) = found
        recovered = bool(newer) and self._recover(autosave_path(path), path.name)
        checked = newer[0] if recovered else saved
        mended = self._mended(checked)
        folder = self._folder_of_missing(mended, path.parent)
        if folder is None:
            self._show_loaded(path, mended, saved=mended is saved, recovered=recovered)
            return

        def work(_progress: Any, _cancelled: Any) -> tuple[Path, Checked, bool]:
            session, problems = mended
            missing = [one.lane_id for one in problems if one.missing]
            session = found_again(session, missing, folder)
            return path, (session, source_problems(session)), recovered

        self._job = None  # it is done: nothing is given up for the search
        self._start("Looking for the recordings", work, self._searched)

    def _searched(self, found: tuple[Path, Checked, bool]) -> None:
        path, checked, recovered = found
        self._show_loaded(path, checked, saved=False, recovered=recovered)

    def _mended(self, checked: Checked) -> Checked:
        """With recordings taken from where they are now, or for what they are now, where that is wanted."""
        session, problems = checked
        moved = [one for one in problems if one.now is not None]
        if moved and self._wants_them(
            "Recordings are under other names",
            "Some recordings are not where the session says; what they hold was found under other names.",
            moved,
            "Use them where they are now? The files stay as they are.",
            "Use them there",
        ):
            session = where_they_are(session, moved)
        others = [one for one in problems if one.replaced]
        if others and self._wants_them(
            "Other recordings",
            "Some recordings are not those that the session was made of.",
            others,
            "Go on with them as they are now? Measure again to see whether what was decided still fits.",
            "Go on with them",
        ):
            session = as_they_are(session, others)
        return checked if session is checked[0] else (session, source_problems(session))

    def _wants_them(
        self, title: str, text: str, problems: Sequence[SourceProblem], question: str, yes: str
    ) -> bool:
        """Never without being asked."""
        listed = in_lines([one.sentence for one in problems])
        return self._ask.can_ask and self._ask.yes(
            title, text, f"{listed}\n\n{question}", yes, "Leave it as it is"
        )

    def _folder_of_missing(self, checked: Checked, beside: Path) -> Path | None:
        missing = [one.sentence for one in checked[1] if one.missing]
        return self._ask.missing(missing, beside) if missing else None

    def _show_loaded(self, path: Path, checked: Checked, *, saved: bool, recovered: bool) -> None:
        session, problems = checked
        if is_demo(path):  # the demo belongs to the program: what is decided on it is saved elsewhere
            self._show(session, None, saved=saved)
            if session.alignment is None:
                self.demo_opened.emit()
        else:
            self._settings.remember_session(path)
            self._show(session, path, saved=saved)
        if recovered:
            self.autosaver.adopt(autosave_path(path))
        if self._to_tell:
            self.note.emit(self._to_tell)
        self._tell([one.sentence for one in problems])

    def _tell(self, problems: Sequence[str]) -> None:
        """The last one told is shown first: let them be read in their order."""
        for sentence in reversed(problems):
            self.problem.emit(sentence)

    def _recover(self, autosave: Path, name: str) -> bool:
        """Whether to go on with what a crash left; what is not wanted now is set aside, never deleted."""
        if self._ask.yes(
            "Unsaved work was found",
            f"Lagline ended before the last changes to {name} were saved.",
            "They were kept. Go on with them, or set them aside as a session of their own?",
            "Recover them",
            "Set them aside",
        ):
            return True
        try:
            self.note.emit(f"Set aside as {set_aside(autosave)}")
        except OSError as error:
            self.problem.emit(f"{autosave} could not be set aside ({error.strerror}); it stays where it is.")
        return False

    def _show(self, session: Session, path: Path | None, *, saved: bool) -> None:
        self.autosaver.start_over()
        self._recovered = None
        self._store.open(session, path, saved=saved)
        self.replaced.emit()
        self.opened.emit(session)

    # keeping

    def save(self) -> bool:
        """Save where it was saved before; asks for a place the first time. False when it was not saved."""
        path = self._store.path
        return self.save_as() if path is None else self._write(path)

    def save_as(self) -> bool:
        session = self._store.session
        if session is None:
            return False
        path = self._ask.where_to_save(proposed_place(session, self._store.path))
        return self._write(path) if path is not None else False

    def _write(self, path: Path) -> bool:
        session = self._store.session
        if session is None:
            return False
        try:
            save(session, path)
        except LaglineError as error:
            self.problem.emit(str(error))
            return False
        self.autosaver.discard()
        self._store.mark_saved(path)
        self._settings.remember_session(path)
        self.note.emit(f"Saved as {path.name}")
        return True

    # leaving

    def may_leave(self) -> bool:
        """Whether the session may be replaced or closed; asks when changes would be lost."""
        if self._store.session is None or not self._would_lose():
            return True
        answer = self._ask.unsaved(self._store.name)
        if answer == "save":
            return self.save()
        if answer == "discard":
            self.autosaver.discard()
            return True
        return False

    def _would_lose(self) -> bool:
        """A take that was only opened has nothing in it that opening it again would not bring back."""
        store = self._store
        only_opened = store.path is None and store.undo_name is None and store.session is not self._recovered
        return store.is_modified and not only_opened

    def close_take(self) -> None:
        if self.may_leave():
            self.autosaver.discard()
            self._store.open(None)

    def rename_take(self, name: str) -> None:
        if name.strip():
            self._store.apply("Name the take", lambda old: replace(old, name=name.strip()))

    def close(self) -> None:
        """End in order: what was to be kept has been saved, so nothing is offered at the next start."""
        self.autosaver.discard()
        self.autosaver.close()
        self._job = None
        for job in self._unfinished:
            job.cancel()
        for job in self._unfinished:
            job.wait()
