"""The list on the disk."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support.day_takes import told

from lagline.day.document import load_day, place_of_list, save_day
from lagline.day.values import Day, Delivered, in_order
from lagline.errors import ChangedOnDisk, FileMissing, SessionTooNew, SessionUnreadable
from lagline.session.setup import Setup, SetupLane
from lagline.session.values import Move


def day(folder: Path) -> Day:
    take = told("Take 1", {"near": -12.25, "room": 0.0}, picture=bytes(range(96)), faults=("hum",))
    take = replace(
        take,
        paths=(folder / "a" / "near.wav", folder / "a" / "room.wav"),
        session=folder / "a" / "Take 1.lagline",
        delivered=Delivered(folder / "out", "Shifted", "s"),
    )
    setup = Setup("usual", 48_000, (SetupLane("near", Move(12.0)),), "room")
    return Day("day", (take,), (folder,), "name", "{take}_{lane}", setup)


def test_what_is_saved_is_read_again(tmp_path: Path) -> None:
    save_day(day(tmp_path), tmp_path / "x.lagline-day")
    assert load_day(tmp_path / "x.lagline-day") == day(tmp_path)


def test_the_list_of_several_folders_lies_in_the_first() -> None:
    assert (
        place_of_list([Path("/media/A"), Path("/media/B")]) == Path("/media/A").absolute() / "A.lagline-day"
    )


def test_a_list_that_moves_with_its_takes_still_finds_them(tmp_path: Path) -> None:
    old, new = tmp_path / "old", tmp_path / "new"
    old.mkdir()
    save_day(day(old), old / "x.lagline-day")
    old.rename(new)
    assert load_day(new / "x.lagline-day") == day(new)


def test_keys_of_a_later_program_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "x.lagline-day"
    save_day(day(tmp_path), path)
    fields = json.loads(path.read_text())
    fields["weather"], fields["takes"][0]["slate"] = "dry", 7
    path.write_text(json.dumps(fields))
    save_day(load_day(path), path)
    again = json.loads(path.read_text())
    assert (again["weather"], again["takes"][0]["slate"]) == ("dry", 7)


def test_what_somebody_else_wrote_is_not_written_over(tmp_path: Path) -> None:
    path = tmp_path / "x.lagline-day"
    known = save_day(day(tmp_path), path)
    save_day(replace(day(tmp_path), name="theirs"), path, known=known)
    with pytest.raises(ChangedOnDisk):
        save_day(day(tmp_path), path, known=known)
    assert load_day(path).name == "theirs"


@pytest.mark.parametrize(
    ("text", "error"),
    [
        ("{", SessionUnreadable),
        ('{"schema": "lagline/session", "version": 1}', SessionUnreadable),
        ('{"schema": "lagline/day", "version": 99}', SessionTooNew),
        ('{"schema": "lagline/day", "version": 1, "name": "x", "takes": 3}', SessionUnreadable),
        ('{"schema": "lagline/day", "version": 1, "name": "x", "takes": [{"name": 1}]}', SessionUnreadable),
    ],
)
def test_a_bad_list_is_refused_with_the_next_step(tmp_path: Path, text: str, error: type) -> None:
    path = tmp_path / "x.lagline-day"
    path.write_text(text)
    with pytest.raises(error) as told_error:
        load_day(path)
    assert "x.lagline-day" in str(told_error.value)
    assert "Open the folder" in str(told_error.value) or error is SessionTooNew
    with pytest.raises(FileMissing):
        load_day(tmp_path / "none.lagline-day")


def test_takes_are_sorted_as_people_count() -> None:
    names = ["Take 12", "take 2", "Take 1b", "Take 1"]
    assert sorted(names, key=in_order) == ["Take 1", "Take 1b", "take 2", "Take 12"]
