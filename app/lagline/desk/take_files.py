"""Takes and sessions onto the desk: opened, added, dropped, and what a crash left of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from msgspec import Struct
from msgspec.structs import replace
from PySide6.QtCore import QObject, Signal

from lagline.day.document import SUFFIX as LIST_SUFFIX
from lagline.desk.adding import already_there, with_added
from lagline.desk.job import Job
from lagline.desk.keeping import Keeping
from lagline.desk.proposed_place import proposed_folder
from lagline.desk.questions import Questions, in_lines
from lagline.desk.recovery import put_out_of_the_way, wanted
from lagline.desk.session_hold import HeldFile
from lagline.desk.settings import DeskSettings
from lagline.desk.store import SessionStore
from lagline.errors import LaglineError
from lagline.files import is_folder
from lagline.jobs.demo import demo_session_path, is_demo
from lagline.jobs.find_takes import FoundTake, opened
from lagline.jobs.open_take import OpenedTake, only_lane, open_take
from lagline.jobs.read_session import ReadSession, read_session, stamp_now
from lagline.jobs.session_beside import session_beside
from lagline.jobs.sources import (
    SourceProblem,
    as_they_are,
    found_again,
    source_problems,
    where_they_are,
    with_fingerprints,
)
from lagline.session.autosave import unsaved_left_behind
from lagline.session.history import History, with_current
from lagline.session.lock import take
from lagline.session.owner import Owner
from lagline.session.storage import SUFFIX
from lagline.session.values import Session

Checked = tuple[Session, Sequence[SourceProblem]]  # and what is wrong with its recordings


class Coming(Struct, frozen=True):
    """A session on its way onto the desk, and what is to be said and done once it is there."""

    session: Session
    problems: Sequence[SourceProblem]
    saved: bool
    file: HeldFile | None = None  # its own, which may be written
    called: str = ""
    history: History | None = None
    adopted: Sequence[Path] = ()  # what a crash left, and is in this session
    told: str = ""
    sentences: Sequence[str] = ()
    is_precious: bool = False
    is_demo: bool = False


class Look(Struct, frozen=True):
    """How a take that is opened is to be looked at: what its session begins with, and what is done then."""

    before: Callable[[Session], Session]
    after: Callable[[], None]


class TakeFiles(QObject):
    """Opens what is asked for. Reading sessions and recordings' headers is a job on a thread."""

    opened = Signal(object)  # the Session that was opened
    replaced = Signal()  # told before `opened` when it is another take, not the same with more in it
    demo_opened = Signal()  # told after `opened`: a demo take that nothing was decided on yet
    list_wanted = Signal(object)  # the list of a day's takes was to be opened: its path
    problem = Signal(str)
    note = Signal(str)
    busy = Signal(str)  # what is under way; empty when it is over

    def __init__(
        self,
        store: SessionStore,
        keeping: Keeping,
        settings: DeskSettings,
        questions: Questions,
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self._store, self._keeping, self._settings, self._ask = store, keeping, settings, questions
        self._job: Job | None = None  # whose result is waited for
        self._held: HeldFile | None = None  # by the one whose recordings are being looked for
        self._look: Look | None = None  # at what is being opened
        self._unfinished: list[Job] = []  # with those that were given up: a thread must not be let go of

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
        lists = [path for path in paths if path.suffix == LIST_SUFFIX]
        if lists:
            self.list_wanted.emit(lists[0])
            return
        sessions = [path for path in paths if path.suffix == SUFFIX and not is_folder(path)]
        if sessions and len(paths) > 1:
            self.problem.emit(
                f"Open {sessions[0].name} by itself: a session already names its recordings. "
                "To add recordings to it, open it first, then add them."
            )
            return
        if not self._keeping.may_leave():
            return
        self._look = None
        if sessions:
            self._open_session(sessions[0])
        else:
            self._open_take(list(paths))

    def open_listed(self, take: FoundTake, saved: Path | None, look: Look | None) -> None:
        """Open a take of a list: its session where one is `saved`, else its recordings, without asking for
        what lies beside them. `look`: how it is to be looked at."""
        if not self._keeping.may_leave():
            return
        if saved is not None:
            self._open_session(saved)
        else:
            work = partial(_found_take, take)
            self._start(f"Opening {take.name}", work, self._take_opened)
        self._look = look

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
        left = unsaved_left_behind()
        sentences = put_out_of_the_way(left)
        kept, aside = wanted(left.kept, "", self._ask)
        if kept is None:
            self._tell(sentences)
            if aside:
                self.note.emit(aside)
            return False
        session = with_fingerprints(kept.session)
        coming = Coming(
            session, source_problems(session), saved=False, history=kept.history, adopted=[kept.file],
            told=aside, sentences=sentences, is_precious=True,
        )  # fmt: skip
        self._with_recordings(coming, proposed_folder(session, None))
        return True

    def _open_take(self, paths: list[Path]) -> None:
        def work(_progress: Any, _cancelled: Any) -> tuple[OpenedTake, Path | None]:
            opened = open_take(paths)
            return opened, session_beside(opened.session)

        self._start("Opening recordings", work, self._take_opened)

    def _open_session(self, path: Path, told: str = "", over: Owner | None = None) -> None:
        """`told` once it is there; `over`: from whom it is to be taken."""

        def work(_progress: Any, _cancelled: Any) -> tuple[ReadSession, str, Owner | None]:
            return read_session(path.absolute(), apart_from=over), told, over

        self._start(f"Opening {path.name}", work, self._session_read)

    def cancel(self) -> None:
        """Give up opening or adding; what has been read so far is dropped."""
        if self._job is not None:
            self._job.cancel()
            self._end_job()

    def _end_job(self) -> None:
        self._job = None
        self._let_go(self._held)
        self._held = None
        self.busy.emit("")

    def _start(self, title: str, work: Callable[..., Any], done: Callable[[Any], None]) -> None:
        """Do this instead of what is under way."""
        if self._job is not None:
            self._job.cancel()
            self._let_go(self._held)
            self._held = None
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
            self._end_job()

    def _take_opened(self, found: tuple[OpenedTake, Path | None]) -> None:
        opened, beside = found
        if beside is not None and not is_demo(beside) and self._wants_saved(beside):
            self._job = None  # it is done: nothing is given up for the session
            told = f"{beside.name}, saved beside these recordings, was opened."
            self._open_session(beside, "" if self._ask.can_ask else told)
            return
        self._show(opened.session)
        self._tell(opened.problems)

    def _wants_saved(self, beside: Path) -> bool:
        """Whether to go on with the session beside the recordings; it is, where nobody can be asked."""
        return not self._ask.can_ask or self._ask.yes(
            "A session of these recordings",
            f"{beside.name}, a session of these recordings, lies beside them.",
            "Open it, or start over? Starting over leaves it as it is.",
            "Open the session",
            "Start over",
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

    def _session_read(self, found: tuple[ReadSession, str, Owner | None]) -> None:
        read, told, over = found
        path = read.path
        coming = Coming(read.session, read.problems, saved=True, told=told)
        if is_demo(path):  # the demo belongs to the program: what is decided on it is saved elsewhere
            self._with_recordings(replace(coming, is_demo=True), path.parent)
            return
        lock = take(path, by_force=over is not None)
        if isinstance(lock, Owner):
            self._open_elsewhere(read, lock, coming)
        elif stamp_now(path) != read.stamp:  # written between reading and locking
            self._let_go(HeldFile(lock, ""))
            self._job = None
            self._open_session(path, told, over)
        else:
            self._open_held(read, replace(coming, file=HeldFile(lock, read.stamp)))

    def _open_elsewhere(self, read: ReadSession, owner: Owner, coming: Coming) -> None:
        answer = self._ask.elsewhere(read.path.name, owner.words) if self._ask.can_ask else "look"
        if answer == "take":
            self._job = None
            self._open_session(read.path, coming.told, owner)
        elif answer == "look":
            told = (
                f"{read.path.name} is open elsewhere ({owner.words}). Here you only look: "
                "Save asks for another name."
            )
            sentences = [] if read.damage is None else [str(read.damage)]
            called = f"{read.path.stem} (look only)"
            self._with_recordings(
                replace(coming, called=called, told=told, sentences=sentences), read.path.parent
            )

    def _open_held(self, read: ReadSession, coming: Coming) -> None:
        """The session is ours to write: with what a crash left of it."""
        file = coming.file
        assert file is not None
        if read.damage is not None and not self._wants_earlier(read):
            self._let_go(file)
            self.problem.emit(str(read.damage))
            return
        self._settings.remember_session(read.path)
        coming = replace(coming, saved=read.damage is None, sentences=put_out_of_the_way(read.left))
        kept, aside = wanted(read.unsaved, read.path.name, self._ask)
        if kept is not None:
            coming = replace(
                coming,
                session=kept.session,
                problems=read.problems_of(kept),
                saved=False,
                history=kept.history,
            )
            file.stamp = kept.known or file.stamp
        elif read.saved_too:
            coming = replace(coming, history=read.saved_too[0].history)
        adopted = [one.file for one in (*read.saved_too, *([] if kept is None else [kept]))]
        self._with_recordings(
            replace(coming, adopted=adopted, told=f"{coming.told} {aside}".strip()), read.path.parent
        )

    def _wants_earlier(self, read: ReadSession) -> bool:
        return self._ask.can_ask and self._ask.yes(
            "The session can’t be read",
            f"{read.path.name} can’t be read.",
            f"{read.damage}\n\nOpen that earlier state? The damaged file stays as it is until you save, "
            "and is kept among the restore points then.",
            "Open the earlier state",
            "Leave it",
        )

    def _with_recordings(self, coming: Coming, beside: Path) -> None:
        """Show it, once its recordings have been looked for where the person says."""
        before = coming.session
        session, problems = self._mended((before, coming.problems))
        coming = replace(coming, session=session, problems=problems, saved=coming.saved and session is before)
        folder = self._folder_of_missing((session, problems), beside)
        if folder is None:
            self._arrive(coming)
            return

        def work(_progress: Any, _cancelled: Any) -> Coming:
            found = found_again(session, [one.lane_id for one in problems if one.missing], folder)
            return replace(coming, session=found, problems=source_problems(found), saved=False)

        self._job = None  # it is done: nothing is given up for the search
        self._start("Looking for the recordings", work, self._arrive)
        self._held = coming.file

    def _arrive(self, coming: Coming) -> None:
        self._held = None
        history = coming.history and with_current(coming.history, coming.session)
        self._show(
            coming.session, coming.file, saved=coming.saved, called=coming.called, history=history,
            is_precious=coming.is_precious,
        )  # fmt: skip
        if coming.is_demo and coming.session.alignment is None:
            self.demo_opened.emit()
        for file in coming.adopted:
            self._keeping.autosaver.adopt(file)
        if coming.told:
            self.note.emit(coming.told)
        self._tell([*coming.sentences, *(one.sentence for one in coming.problems)])

    def _let_go(self, file: HeldFile | None) -> None:
        """A session is not opened after all; it stays ours when it is the one on the desk."""
        if file is not None and file.lock.is_new:
            file.lock.release()

    def _mended(self, checked: Checked) -> Checked:
        """With recordings taken from where they are now, or for what they are now, where that is wanted."""
        session, problems = checked
        moved = [one for one in problems if one.now is not None]
        if moved and self._wants_them(
            "Recordings are under other names",
            "Some recordings are not where the session says; the same sound was found under other names.",
            moved,
            "Or use them where they are now? No file is touched.",
            "Use them there",
        ):
            session = where_they_are(session, moved)
        others = [one for one in problems if one.replaced]
        if others and self._wants_them(
            "Other recordings",
            "Some recordings are not the ones the session was made from.",
            others,
            "Go on with them as they are now? Measure again to see whether your decisions still fit.",
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

    def _tell(self, problems: Sequence[str]) -> None:
        """The last one told is shown first: let them be read in their order."""
        for sentence in reversed(problems):
            self.problem.emit(sentence)

    def _show(self, session: Session, file: HeldFile | None = None, **more: Any) -> None:
        """As `Keeping.show`."""
        look, self._look = self._look, None
        session = look.before(session) if look is not None else session
        self._keeping.show(session, file, **{"saved": False, **more})
        self.replaced.emit()
        self.opened.emit(session)
        if look is not None:
            look.after()

    # the take as a whole

    def rename_take(self, name: str) -> None:
        if name.strip():
            self._store.apply("Name the take", lambda old: replace(old, name=name.strip()))

    def close(self) -> None:
        self._job = None
        for job in self._unfinished:
            job.cancel()
        for job in self._unfinished:
            job.wait()


def _found_take(take: FoundTake, _progress: object, _cancelled: object) -> tuple[OpenedTake, Path | None]:
    return opened(take), None
