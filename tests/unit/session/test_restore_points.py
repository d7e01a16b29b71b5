"""Earlier states: dated, the last ten and one a day, and nothing else of the folder touched."""

from __future__ import annotations

import os
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support.full_session import full_session

from lagline.errors import SessionUnreadable
from lagline.session.places import beside, in_state
from lagline.session.restore_points import DAYS, LAST, keep, restore_points
from lagline.session.storage import load, save

NOON = datetime(2025, 3, 9, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LAGLINE_STATE_DIR", str(tmp_path / "state"))
    monkeypatch.setenv("TZ", "UTC")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "take.lagline"


def kept(path: Path) -> list[datetime]:
    return [point.when for point in restore_points(path)]


def test_each_state_that_was_saved_can_be_read_back(path: Path) -> None:
    states = [replace(full_session(path.parent), notes=str(number)) for number in range(4)]
    for number, state in enumerate(states):
        save(state, path)
        when = (NOON + timedelta(hours=number)).timestamp()
        os.utime(path, (when, when))
    found = restore_points(path)
    assert [load(point.path, folder=path.parent) for point in found] == states[2::-1]
    assert [point.when for point in found] == [NOON + timedelta(hours=hour) for hour in (2, 1, 0)]


def test_the_last_ten_are_kept_and_the_last_one_of_each_day(path: Path) -> None:
    hours = [NOON + timedelta(hours=hour) for hour in range(0, 24 * 20, 3)]
    for number, when in enumerate(hours):
        keep(path, f"state {number}".encode(), when.timestamp())
    found = kept(path)
    last = {}
    for when in hours:
        last[when.date()] = when
    assert found[:LAST] == hours[: -LAST - 1 : -1]
    assert found == sorted({*hours[-LAST:], *last.values()}, reverse=True)


def test_days_long_ago_go(path: Path) -> None:
    for day in range(DAYS + 9):
        keep(path, f"state {day}".encode(), (NOON + timedelta(days=day)).timestamp())
    assert len(kept(path)) == DAYS


def test_the_same_state_is_kept_once(path: Path) -> None:
    for hour in range(3):
        keep(path, b"the same", (NOON + timedelta(hours=hour)).timestamp())
    assert kept(path) == [NOON]


def test_two_of_one_moment_are_both_kept(path: Path) -> None:
    for number in range(2):
        keep(path, f"state {number}".encode(), NOON.timestamp())
    assert [point.path.read_bytes() for point in restore_points(path)] == [b"state 1", b"state 0"]


def test_only_their_owner_may_read_them(path: Path) -> None:
    point = keep(path, b"x", NOON.timestamp())
    assert [stat.S_IMODE(file.stat().st_mode) for file in (point, point.parent)] == [0o600, 0o700]


def test_what_is_not_ours_is_left_alone(path: Path) -> None:
    point = keep(path, b"x", NOON.timestamp())
    point.with_name("mine.lagline").write_text("mine")
    for number in range(LAST + 2):
        keep(path, f"state {number}".encode(), (NOON + timedelta(minutes=number)).timestamp())
    assert point.with_name("mine.lagline").read_text() == "mine"
    assert len(kept(path)) == LAST


def test_the_backup_of_earlier_versions_is_among_them(path: Path) -> None:
    path.with_name("take.lagline.bak").write_bytes(b"older")
    keep(path, b"x", NOON.timestamp())
    assert {point.path.read_bytes() for point in restore_points(path)} == {b"older", b"x"}


def test_where_nothing_can_be_written_beside_it_the_state_folder_takes_them(path: Path) -> None:
    beside(path, ".points").write_text("in the way")
    point = keep(path, b"x", NOON.timestamp())
    assert point.parent == in_state(path, ".points")
    assert kept(path) == [NOON]


def test_a_damaged_session_names_its_newest(path: Path) -> None:
    save(full_session(path.parent), path)
    save(replace(full_session(path.parent), notes="new"), path)
    path.write_text("{")
    with pytest.raises(SessionUnreadable, match=r"Its state of \d{4}-\d\d-\d\d \d\d:\d\d is kept"):
        load(path)
