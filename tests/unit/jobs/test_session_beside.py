"""Work that was saved beside the recordings is found, and nothing else is taken for it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support.takes import noise_take

from lagline.jobs.session_beside import session_beside
from lagline.session.storage import save
from lagline.session.values import Session


@pytest.fixture
def take(tmp_path: Path) -> Session:
    return noise_take(tmp_path / "take", frames=480)


def test_there_may_be_none(take: Session) -> None:
    assert session_beside(take) is None


def test_the_newest_of_the_same_recordings(take: Session, tmp_path: Path) -> None:
    old, new = tmp_path / "take" / "b.lagline", tmp_path / "take" / "a.lagline"
    for file, time in ((old, 1_000), (new, 2_000)):
        save(take, file)
        os.utime(file, (time, time))
    assert session_beside(take) == new
    os.utime(old, (3_000, 3_000))
    assert session_beside(take) == old


def test_a_recording_added_since_hides_nothing(take: Session, tmp_path: Path) -> None:
    file = tmp_path / "take" / "work.lagline"
    save(replace(take, lanes=take.lanes[1:]), file)
    assert session_beside(take) == file
    save(take, file)
    assert session_beside(replace(take, lanes=take.lanes[:2])) == file


def test_one_of_other_recordings_is_not_it(take: Session, tmp_path: Path) -> None:
    other = noise_take(tmp_path / "other", frames=480)
    mixed = replace(take, lanes=(*take.lanes[1:], replace(other.lanes[0], id="other")))
    save(replace(mixed, anchor_id=None), tmp_path / "take" / "mixed.lagline")
    save(other, tmp_path / "take" / "other.lagline")
    assert session_beside(take) is None


def test_a_damaged_one_is_passed_over(take: Session, tmp_path: Path) -> None:
    (tmp_path / "take" / "broken.lagline").write_text("{", "utf-8")
    assert session_beside(take) is None
    assert (tmp_path / "take" / "broken.lagline").read_text("utf-8") == "{"
