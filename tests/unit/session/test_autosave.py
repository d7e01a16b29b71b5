"""Unsaved work survives a crash, and only then."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from lagline.errors import CannotWrite, SessionUnreadable
from lagline.session.autosave import (
    autosave_path,
    left_behind,
    set_aside,
    state_folder,
    unsaved_left_behind,
    write_autosave,
)
from lagline.session.storage import load, save
from lagline.session.values import Session

SESSION = Session(rate_hz=48000, lanes=(), notes="as edited")


@pytest.fixture(autouse=True)
def own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LAGLINE_STATE_DIR", str(tmp_path / "state"))


def test_what_a_crash_left_is_found_beside_the_session(tmp_path: Path) -> None:
    path = tmp_path / "take.lagline"
    save(Session(rate_hz=48000, lanes=()), path)
    assert left_behind(path) is None
    write_autosave(SESSION, path)
    assert left_behind(path) == SESSION
    assert load(path).notes == ""


def test_what_is_set_aside_is_a_session_of_its_own_and_not_offered_again(tmp_path: Path) -> None:
    path = tmp_path / "take.lagline"
    aside = [set_aside(write_autosave(SESSION, path)) for _ in range(2)]
    assert [file.name for file in aside] == ["take (set aside 1).lagline", "take (set aside 2).lagline"]
    assert load(aside[1]) == SESSION
    assert left_behind(path) is None


def test_where_the_session_cannot_be_written_the_state_folder_takes_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    beside = tmp_path / "disc" / "take.lagline"  # no such folder: as good as one that is read-only
    kept = write_autosave(SESSION, beside)
    assert kept.parent == state_folder()
    assert load(kept) == SESSION


def test_when_nothing_can_be_written_it_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("LAGLINE_STATE_DIR", str(tmp_path / "file" / "state"))
    with pytest.raises(CannotWrite, match="Not a directory"):
        write_autosave(SESSION, None)


def test_an_earlier_process_of_our_number_is_not_mistaken_for_us(tmp_path: Path) -> None:
    ours = write_autosave(SESSION, None)
    theirs = ours.with_name(f"unsaved-{os.getpid()}-0badcafe.autosave")
    ours.rename(theirs)
    write_autosave(SESSION, None)
    assert list(unsaved_left_behind()) == [theirs]


def test_an_autosave_older_than_the_session_is_not_offered(tmp_path: Path) -> None:
    path = tmp_path / "take.lagline"
    write_autosave(SESSION, path)
    save(SESSION, path)
    os.utime(autosave_path(path), ns=(1, 1))
    assert left_behind(path) is None


def test_a_damaged_autosave_is_named(tmp_path: Path) -> None:
    path = tmp_path / "take.lagline"
    autosave_path(path).write_text("{", "utf-8")
    with pytest.raises(SessionUnreadable, match="autosave"):
        left_behind(path)


def test_never_saved_work_is_found_once_its_process_has_gone() -> None:
    write_autosave(SESSION, None)
    assert list(unsaved_left_behind()) == []  # this process still runs
    code = (
        "from lagline.session.autosave import write_autosave\n"
        "from lagline.session.values import Session\n"
        "write_autosave(Session(rate_hz=48000, lanes=(), notes='as edited'), None)\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
    (found,) = unsaved_left_behind()
    assert found.parent == state_folder()
    assert load(found) == SESSION


def test_without_a_state_folder_nothing_was_left() -> None:
    assert list(unsaved_left_behind()) == []


def test_numbers_of_no_process_and_of_other_people_s(monkeypatch: pytest.MonkeyPatch) -> None:
    kept = write_autosave(SESSION, None)
    beyond = kept.rename(kept.with_name(f"unsaved-{10**30}-00000000.autosave"))
    assert list(unsaved_left_behind()) == [beyond]
    beyond.rename(kept.with_name("unsaved-1-00000000.autosave"))

    def not_ours(_process: int, _signal: int) -> None:
        raise PermissionError

    monkeypatch.setattr(os, "kill", not_ours)
    assert list(unsaved_left_behind()) == []
