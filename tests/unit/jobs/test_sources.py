"""Recordings that are missing, changed, or somewhere else."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.support.recordings import noise, recording

from lagline.errors import MediaError, SourceChanged
from lagline.jobs.open_take import open_take
from lagline.jobs.sources import found_again, pointed_to, source_problems
from lagline.session.values import Session


@pytest.fixture
def session(tmp_path: Path) -> Session:
    folder = tmp_path / "take"
    folder.mkdir()
    recording(folder / "far.wav", noise(4800, seed=1))
    recording(folder / "near.wav", noise(4800, channels=2, seed=2))
    return open_take([folder]).session


def test_untouched_recordings_are_no_problem(session: Session) -> None:
    assert source_problems(session) == ()


def test_missing_and_changed_recordings_are_named(session: Session, tmp_path: Path) -> None:
    (tmp_path / "take" / "far.wav").unlink()
    recording(tmp_path / "take" / "near.wav", noise(4000, channels=1, seed=3))
    far, left, right = source_problems(session)
    assert far.missing and "far.wav is missing" in far.sentence
    assert not left.missing and "4800 samples and has 4000" in left.sentence
    assert right.lane_id == "lane-3"


def test_moved_recordings_are_found_again_by_name_and_size(session: Session, tmp_path: Path) -> None:
    archive = tmp_path / "archive" / "disk 2"
    archive.mkdir(parents=True)
    (tmp_path / "take").rename(archive / "moved")
    impostor = archive / "a"
    impostor.mkdir()
    recording(impostor / "far.wav", noise(4000, seed=4))
    problems = source_problems(session)
    found = found_again(session, [problem.lane_id for problem in problems], tmp_path / "archive")
    assert source_problems(found) == ()
    assert found.lanes[0].source.path == archive / "moved" / "far.wav"


def test_what_is_nowhere_stays_named(session: Session, tmp_path: Path) -> None:
    (tmp_path / "take" / "far.wav").unlink()
    found = found_again(session, ["lane-1"], tmp_path)
    assert found == session


def test_a_file_of_the_same_name_and_size_but_other_content_is_not_taken(
    session: Session, tmp_path: Path
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    far = tmp_path / "take" / "far.wav"
    far.rename(other / "far.wav")
    data = bytearray((other / "far.wav").read_bytes())
    data[24:28] = (44100).to_bytes(4, "little")  # the rate in the WAV header
    (other / "far.wav").write_bytes(data)
    assert found_again(session, ["lane-1"], other) == session


def test_the_engineer_can_point_to_a_copy_in_another_format(session: Session, tmp_path: Path) -> None:
    copy = recording(tmp_path / "far copy.flac", noise(4800, seed=1))
    assert pointed_to(session, "lane-1", copy).lanes[0].source.path == copy
    shorter = recording(tmp_path / "short.wav", noise(100, seed=1))
    with pytest.raises(SourceChanged, match="samples"):
        pointed_to(session, "lane-1", shorter)
    with pytest.raises(MediaError):
        pointed_to(session, "lane-1", tmp_path / "nowhere.wav")


def test_a_link_to_nowhere_does_not_stop_the_search(session: Session, tmp_path: Path) -> None:
    other = tmp_path / "other"
    (other / "a").mkdir(parents=True)
    (other / "a" / "far.wav").symlink_to(tmp_path / "gone.wav")
    (tmp_path / "take" / "far.wav").rename(other / "far.wav")
    found = found_again(session, (lane_id for lane_id in ["lane-1"]), other)
    assert found.lanes[0].source.path == other / "far.wav"
