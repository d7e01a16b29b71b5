"""Unsaved work survives a crash, and only then."""

from __future__ import annotations

import json
import os
import stat
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support.full_session import full_session
from tests.support.gone_runs import crashed_with, run_and_end, running

from lagline.errors import CannotWrite, SessionTooNew, SessionUnreadable
from lagline.session import owner as owner_module
from lagline.session.autosave import (
    autosave_path,
    left_behind,
    read_autosave,
    set_aside,
    unsaved_left_behind,
    write_autosave,
)
from lagline.session.history import History
from lagline.session.places import state_folder
from lagline.session.storage import load, save
from lagline.session.values import Session

SESSION = Session(rate_hz=48000, lanes=(), notes="as edited")


@pytest.fixture(autouse=True)
def own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LAGLINE_STATE_DIR", str(tmp_path / "state"))


@pytest.fixture
def edited(tmp_path: Path) -> Path:
    save(SESSION, tmp_path / "edited")
    return tmp_path / "edited"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    save(Session(rate_hz=48000, lanes=()), tmp_path / "take.lagline")
    return tmp_path / "take.lagline"


def test_what_a_crash_left_is_found_beside_the_session(path: Path, edited: Path) -> None:
    assert left_behind(path).kept == ()
    crashed_with(edited, path)
    (kept,) = left_behind(path).kept
    assert kept.session == SESSION and kept.file.parent == path.parent
    assert abs(kept.when - datetime.now().astimezone()) < timedelta(minutes=5)
    assert load(path).notes == ""


def test_what_a_run_keeps_that_still_runs_is_not_offered(path: Path, edited: Path) -> None:
    with running(
        edited, f"write_autosave(load(path), Path({str(path)!r})); write_autosave(load(path), None)"
    ):
        assert left_behind(path).kept == unsaved_left_behind().kept == ()
    assert len(left_behind(path).kept) == len(unsaved_left_behind().kept) == 1


def test_nor_is_our_own(path: Path) -> None:
    write_autosave(SESSION, path)
    write_autosave(SESSION, None)
    assert left_behind(path).kept == unsaved_left_behind().kept == ()


def test_it_is_found_whatever_was_saved_since(path: Path, edited: Path) -> None:
    """Whoever saved later may never have seen it."""
    crashed_with(edited, path)
    save(replace(load(path), notes="saved since"), path)
    assert [kept.session.notes for kept in left_behind(path).kept] == ["as edited"]


def test_each_run_has_its_own_and_the_newest_comes_first(path: Path, edited: Path, tmp_path: Path) -> None:
    for notes in ("one", "two"):
        save(replace(SESSION, notes=notes), edited)
        crashed_with(edited, path)
    assert [kept.session.notes for kept in left_behind(path).kept] == ["two", "one"]


def test_only_its_owner_may_read_it(path: Path) -> None:
    path.chmod(0o644)
    beside, elsewhere = write_autosave(SESSION, path), write_autosave(SESSION, None)
    modes = [stat.S_IMODE(file.stat().st_mode) for file in (beside, elsewhere, state_folder())]
    assert modes == [0o600, 0o600, 0o700]


class TestAfterAReboot:
    """The number of a process comes back; the start of the machine and of the process do not."""

    @pytest.fixture
    def ours(self, path: Path) -> Path:
        """An autosave of a process of our number, as only another start of the machine could leave it."""
        file = write_autosave(SESSION, path)
        return file.rename(file.with_name(file.name.replace(owner_module.this_run().token, "0" * 12)))

    def with_owner(self, file: Path, **changes: object) -> None:
        document = json.loads(file.read_text("utf-8"))
        document["autosave"]["owner"].update({"token": "0" * 12, **changes})
        file.write_text(json.dumps(document), "utf-8")

    def test_another_boot_tells(self, path: Path, ours: Path) -> None:
        self.with_owner(ours, boot="11111111-2222-3333-4444-555555555555")
        assert len(left_behind(path).kept) == 1

    def test_another_start_of_the_process_tells(self, path: Path, ours: Path) -> None:
        self.with_owner(ours, started=owner_module.this_run().started - 3_600)
        assert len(left_behind(path).kept) == 1

    def test_the_same_process_runs(self, path: Path, ours: Path) -> None:
        self.with_owner(ours)
        assert left_behind(path).kept == ()

    @pytest.mark.parametrize("process", [10**30, -5, 2**22 + 1])
    def test_numbers_of_no_process(self, path: Path, ours: Path, process: int) -> None:
        self.with_owner(ours, process=process)
        assert len(left_behind(path).kept) == 1

    def test_of_another_machine_the_last_sign_of_life_tells(self, path: Path, ours: Path) -> None:
        self.with_owner(ours, machine="far-away/", process=10**7)
        assert left_behind(path).kept == ()
        os.utime(ours, (ours.stat().st_mtime - 3_600,) * 2)
        assert len(left_behind(path).kept) == 1


def test_what_is_set_aside_is_a_session_of_its_own_and_not_offered_again(path: Path, edited: Path) -> None:
    aside = []
    for _ in range(2):
        crashed_with(edited, path)
        aside.append(set_aside(left_behind(path).kept[0].file))
    assert [file.name for file in aside] == ["take (set aside 1).lagline", "take (set aside 2).lagline"]
    assert load(aside[1]) == SESSION
    assert left_behind(path).kept == ()


def test_where_the_session_cannot_be_written_the_state_folder_takes_it(tmp_path: Path) -> None:
    beside = tmp_path / "disc" / "take.lagline"  # no such folder: as good as one that is read-only
    kept = write_autosave(SESSION, beside)
    assert kept.parent == state_folder()
    assert load(kept) == SESSION


def test_when_nothing_can_be_written_it_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("LAGLINE_STATE_DIR", str(tmp_path / "file" / "state"))
    with pytest.raises(CannotWrite, match="Not a directory"):
        write_autosave(SESSION, None)


@pytest.mark.parametrize(
    ("content", "kind"),
    [("{", SessionUnreadable), ('{"schema": "lagline/session", "version": 99}', SessionTooNew)],
)
def test_a_damaged_or_newer_one_is_told_apart_and_can_be_set_aside(
    path: Path, edited: Path, content: str, kind: type[Exception]
) -> None:
    crashed_with(edited, path)
    left_behind(path).kept[0].file.write_text(content, "utf-8")
    left = left_behind(path)
    ((file, reason),) = left.unreadable
    assert left.kept == () and isinstance(reason, kind)
    assert set_aside(file).read_text("utf-8") == content
    assert left_behind(path).unreadable == ()


def test_one_of_an_earlier_version_is_found(path: Path, edited: Path) -> None:
    edited.rename(path.with_name(f".{path.name}.autosave"))
    assert [kept.session for kept in left_behind(path).kept] == [SESSION]


def test_one_of_another_session_is_not(path: Path, edited: Path) -> None:
    other = path.with_name("take.lagline.lagline")
    crashed_with(edited, other)
    assert left_behind(path).kept == ()
    odd = path.with_name("[t]*.lagline")
    crashed_with(edited, odd)
    assert len(left_behind(odd).kept) == 1


def test_never_saved_work_is_found_once_its_process_has_gone(edited: Path) -> None:
    write_autosave(SESSION, None)
    assert unsaved_left_behind().kept == ()
    crashed_with(edited, None)
    (found,) = unsaved_left_behind().kept
    assert found.file.parent == state_folder() and found.session == SESSION


def test_without_a_state_folder_nothing_was_left() -> None:
    assert unsaved_left_behind().kept == ()


def test_the_way_it_came_to_be_is_kept_with_it(tmp_path: Path) -> None:
    first = full_session(tmp_path)
    states = (first, replace(first, notes="b"), replace(first, lanes=first.lanes[::-1], notes="c", loop=None))
    history = History(states, ("Note", "Cut"), 1)
    kept = read_autosave(write_autosave(states[1], tmp_path / "take.lagline", history, "abc"))
    assert (kept.session, kept.history, kept.known) == (states[1], history, "abc")


def test_a_way_that_makes_no_sense_does_not_bar_the_work(tmp_path: Path) -> None:
    file = write_autosave(SESSION, None, History((SESSION,)), None)
    document = json.loads(file.read_text("utf-8"))
    for nonsense in (3, {}, {"names": [], "at": 5, "states": [{}], "parts": []}):
        document["autosave"]["history"] = nonsense
        file.write_text(json.dumps(document), "utf-8")
        assert read_autosave(file).history == History((SESSION,))


def test_the_autosave_path_is_one_a_run(path: Path) -> None:
    theirs = run_and_end(
        path, "from lagline.session.autosave import autosave_path\nprint(autosave_path(path))"
    )
    assert theirs != str(autosave_path(path))
