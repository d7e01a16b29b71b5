"""Lets every operation on files fail once, with three errors, in all that keeps a session.

    python tests/robustness/vault_faults.py

Saving, autosaving, locks, restore points, recovery, and a desk that saves and takes a state back. After each
fault: the session is whole and the old or the new one, every earlier state can still be read, what went wrong
was told in a sentence, nothing half-written is left, and the next try succeeds.
Prints a Markdown table; exit code 1 when one of them does not hold.
"""

from __future__ import annotations

import errno
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from msgspec.structs import replace  # noqa: E402
from PySide6.QtCore import QCoreApplication, QObject, QSettings  # noqa: E402
from tests.support.fake_desk import FakeQuestions  # noqa: E402
from tests.support.faults import failing  # noqa: E402
from tests.support.gone_runs import crashed_with  # noqa: E402
from tests.support.takes import noise_take  # noqa: E402

from lagline.desk.keeping import Keeping  # noqa: E402
from lagline.desk.session_hold import HeldFile  # noqa: E402
from lagline.desk.settings import DeskSettings  # noqa: E402
from lagline.desk.store import SessionStore  # noqa: E402
from lagline.errors import LaglineError  # noqa: E402
from lagline.jobs.read_session import read_session  # noqa: E402
from lagline.session.autosave import (  # noqa: E402
    left_behind,
    set_aside,
    unsaved_left_behind,
    write_autosave,
)
from lagline.session.history import History  # noqa: E402
from lagline.session.lock import Lock, take  # noqa: E402
from lagline.session.restore_points import keep, restore_points  # noqa: E402
from lagline.session.storage import load, save, stamp  # noqa: E402

KINDS = (errno.ENOSPC, errno.EACCES, errno.EIO)
MOST = 200  # operations of one piece of work


class Vault:
    """A folder with a session, an earlier state of it, and what a crash left."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.file = folder, folder / "take.lagline"
        os.environ["LAGLINE_STATE_DIR"] = str(folder / "state")
        session = load(self.file)
        self.old, self.new = session, replace(session, notes="new")
        self.stamp = stamp(self.file)

    @classmethod
    def make(cls, folder: Path) -> None:
        os.environ["LAGLINE_STATE_DIR"] = str(folder / "state")
        session, file = noise_take(folder / "take", frames=3_000), folder / "take.lagline"
        for notes in ("older", "old"):
            save(replace(session, notes=notes), file)
        save(replace(session, notes="left"), folder / "edited")
        crashed_with(folder / "edited", file)
        crashed_with(folder / "edited", None)

    # what is done

    def save(self) -> None:
        save(self.new, self.file, known=self.stamp)

    def autosave(self) -> None:
        write_autosave(self.new, self.file, History((self.old, self.new), ("Note",), 1), "x")

    def autosave_without_a_file(self) -> None:
        write_autosave(self.new, None)

    def lock(self) -> None:
        lock = take(self.file)
        assert isinstance(lock, Lock)
        assert lock.sign() is None
        lock.release()

    def take_over(self) -> None:
        lock = take(self.file, by_force=True)
        assert isinstance(lock, Lock)
        lock.release()

    def keep_a_point(self) -> None:
        try:
            keep(self.file, b"new", 1e9)
        except OSError as error:
            raise LaglineError(f"{error}.") from error  # the callers' part, see storage.save

    def look_for_points(self) -> None:
        for point in restore_points(self.file):
            load(point.path, folder=self.folder)

    def recover(self) -> None:
        left = [*left_behind(self.file).kept, *unsaved_left_behind().kept]
        for kept in left:
            try:
                set_aside(kept.file)
            except OSError as error:
                raise LaglineError(f"{error}.") from error  # the callers' part, see desk.recovery

    def read(self) -> None:
        read_session(self.file)

    def save_from_a_desk(self) -> None:
        with self._desk() as (store, keeping, told):
            store.apply("Note", lambda old: replace(old, notes="new"))
            keeping.autosaver.tick()
            keeping.autosaver.wait()
            keeping.hold.tick()
            if not keeping.save():
                raise LaglineError(told[0])

    def take_back_on_a_desk(self) -> None:
        with self._desk() as (store, keeping, told):
            store.apply("Note", lambda old: replace(old, notes="other"))
            if not keeping.take_back(self.old, "Take back"):
                raise LaglineError(told[0])
            assert store.session is not None and store.session.notes == "old"

    @contextmanager
    def _desk(self) -> Iterator[tuple[SessionStore, Keeping, list[str]]]:
        """The part of a desk that keeps, with the session on it."""
        home, told = QObject(), []
        store = SessionStore(home)
        ini = QSettings(str(self.folder.parent / "settings.ini"), QSettings.Format.IniFormat)
        keeping = Keeping(store, DeskSettings(ini), FakeQuestions(), home)
        keeping.problem.connect(told.append)
        try:
            lock = take(self.file)
            assert isinstance(lock, Lock)
            keeping.show(self.old, HeldFile(lock, self.stamp or ""), saved=True)
            yield store, keeping, told
        finally:
            keeping.close()


WORK = (
    "save", "autosave", "autosave_without_a_file", "lock", "take_over", "keep_a_point", "look_for_points",
    "recover", "read", "save_from_a_desk", "take_back_on_a_desk",
)  # fmt: skip


def try_all(work: str, kind: int, folder: Path) -> tuple[int, int]:
    """How many operations were made to fail, and how many of those were told.

    AssertionError in words when something is bad.
    """
    Vault.make(folder / "whole")
    place, told = folder / "work", 0
    for at in range(MOST):
        shutil.rmtree(place, ignore_errors=True)
        shutil.copytree(folder / "whole", place)
        vault = Vault(place)
        error: BaseException | None = None
        with failing(at, kind, place) as happened:
            try:
                getattr(vault, work)()
            except Exception as caught:  # noqa: BLE001 - looked at below
                error = caught
            came = happened()
        if not came:
            assert error is None, f"{work}: {error}"
            return at, told
        told += error is not None
        check(vault, work, error)
    raise AssertionError(f"{work} has no end")


def check(vault: Vault, work: str, error: BaseException | None) -> None:
    said = f"{work}: {type(error).__name__}: {error}"
    assert error is None or isinstance(error, LaglineError), said
    assert error is None or str(error).endswith("."), said
    found = load(vault.file).notes
    saves = work in ("save", "save_from_a_desk")
    assert found == ("new" if saves and error is None else "old"), f"{said}: the session is {found}"
    points = {notes_of(vault, point.path) for point in restore_points(vault.file)}
    assert "older" in points and (found == "old" or "old" in points), f"{said}: the points are {points}"
    words = [path for path in vault.folder.rglob("*") if path.suffix == ".part"]
    assert not words, f"{said}: half-written {words}"
    left = [one.session.notes for one in (*left_behind(vault.file).kept, *unsaved_left_behind().kept)]
    aside = [load(path).notes for path in vault.folder.rglob("*(set aside*")]
    assert [*left, *aside].count("left") == 2, f"{said}: left behind {left}, set aside {aside}"
    vault.stamp = stamp(vault.file)
    getattr(vault, work)()  # and the next try does it
    if saves:
        assert load(vault.file).notes == "new"


def notes_of(vault: Vault, point: Path) -> str:
    data = point.read_bytes()
    return "new" if data == b"new" else load(point, folder=vault.folder).notes


def main() -> int:
    print("| what is done | operations made to fail | told | went on without | bad |\n|---|---|---|---|---|")
    bad, _application = 0, QCoreApplication([])
    for work in WORK:
        failed = told = faults = 0
        for kind in KINDS:
            with tempfile.TemporaryDirectory(prefix="lagline-faults-") as name:
                try:
                    more, said = try_all(work, kind, Path(name))
                    failed, told = failed + more, told + said
                except AssertionError as error:
                    print(f"{errno.errorcode[kind]}: {error}", file=sys.stderr)
                    faults += 1
        print(f"| {work.replace('_', ' ')} | {failed} | {told} | {failed - told} | {faults} |", flush=True)
        bad += faults
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
