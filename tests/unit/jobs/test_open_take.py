"""From files to lanes: names, channels, rates, time stamps, and what is wrong said in words."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.support.recordings import noise, recording

from lagline.errors import EmptyRecording, NoRecordings, NotAudio, NothingReadable
from lagline.jobs.open_take import open_take
from lagline.media.bext import Bext, pack_bext


def stamped(path: Path, time_reference: int, frames: int = 480, rate_hz: int = 48000) -> Path:
    """A WAV with a broadcast time stamp (chunk of EBU Tech 3285), put together by hand."""
    recording(path, noise(frames), rate_hz)
    data = path.read_bytes()
    bext = pack_bext(Bext(description="", time_reference=time_reference))
    chunk = b"bext" + len(bext).to_bytes(4, "little") + bext + b"\0" * (len(bext) % 2)
    whole = data[:12] + chunk + data[12:]
    path.write_bytes(whole[:4] + (len(whole) - 8).to_bytes(4, "little") + whole[8:])
    return path


def test_a_folder_gives_its_recordings_by_name(tmp_path: Path) -> None:
    folder = tmp_path / "take 3"
    folder.mkdir()
    for name in ("b.wav", "a.flac", ".hidden.wav"):
        recording(folder / name, noise(480), subtype="PCM_16")
    (folder / "notes.txt").write_text("mic list", "utf-8")
    take = open_take([folder])
    assert [lane.name for lane in take.session.lanes] == ["a", "b"]
    assert take.session.name == "take 3"
    assert take.problems == ()


def test_channels_become_lanes_and_a_stereo_file_a_linked_pair(tmp_path: Path) -> None:
    recording(tmp_path / "pair.wav", noise(480, channels=2))
    recording(tmp_path / "many.wav", noise(480, channels=3))
    session = open_take([tmp_path / "pair.wav", tmp_path / "many.wav"]).session
    lanes, balance = session.lanes, session.current_version.balance
    assert [lane.name for lane in lanes] == ["pair L", "pair R", "many 1", "many 2", "many 3"]
    assert lanes[0].link == lanes[1].link is not None
    assert (balance(lanes[0].id).pan, balance(lanes[1].id).pan) == (-1.0, 1.0)
    assert [lane.link for lane in lanes[2:]] == [None] * 3
    assert [lane.source.channel for lane in lanes] == [0, 1, 0, 1, 2]


def test_lanes_of_the_same_name_are_told_apart(tmp_path: Path) -> None:
    for folder in ("one", "two", "three"):
        (tmp_path / folder).mkdir()
        recording(tmp_path / folder / "mic.wav", noise(480))
    paths = [tmp_path / folder / "mic.wav" for folder in ("one", "two", "three")]
    assert [lane.name for lane in open_take(paths).session.lanes] == ["one mic", "two mic", "three mic"]
    assert len(open_take([paths[0], paths[0]]).session.lanes) == 1


def test_the_usual_rate_wins_and_the_others_are_named(tmp_path: Path) -> None:
    recording(tmp_path / "a.wav", noise(480), 44100)
    recording(tmp_path / "b.wav", noise(480), 96000)
    recording(tmp_path / "c.wav", noise(480), 44100)
    take = open_take([tmp_path])
    assert take.session.rate_hz == 44100
    assert len(take.problems) == 1 and "b.wav is at 96000 Hz" in take.problems[0]
    assert open_take([tmp_path], rate_hz=48000).session.rate_hz == 48000


def test_time_stamps_place_the_lanes(tmp_path: Path) -> None:
    # 10:00:00 at 48 kHz is sample 1,728,000,000 since midnight (EBU Tech 3285: arithmetic of its definition).
    ten = 1_728_000_000
    stamped(tmp_path / "a.wav", ten + 480, frames=4800)
    stamped(tmp_path / "b.wav", ten)
    take = open_take([tmp_path])
    assert [lane.place_samples for lane in take.session.lanes] == [480, 0]
    assert take.session.time_reference == ten
    assert "a.wav 0.010 s" in take.problems[0]


def test_a_stamp_of_zero_beside_others_is_a_start_and_alone_is_none(tmp_path: Path) -> None:
    stamped(tmp_path / "a.wav", 0)
    stamped(tmp_path / "b.wav", 96)
    assert [lane.place_samples for lane in open_take([tmp_path]).session.lanes] == [0, 96]
    stamped(tmp_path / "b.wav", 0)
    take = open_take([tmp_path])
    assert take.session.time_reference is None and take.problems == ()


def test_stamps_on_some_files_only_are_ignored_and_said(tmp_path: Path) -> None:
    stamped(tmp_path / "a.wav", 5000)
    recording(tmp_path / "b.wav", noise(480))
    take = open_take([tmp_path])
    assert [lane.place_samples for lane in take.session.lanes] == [0, 0]
    assert "No time stamp in b.wav" in take.problems[0]


def test_stamps_that_cannot_be_of_one_take_are_ignored_and_said(tmp_path: Path) -> None:
    stamped(tmp_path / "a.wav", 48000 * 90_000)
    stamped(tmp_path / "b.wav", 1)
    take = open_take([tmp_path])
    assert [lane.place_samples for lane in take.session.lanes] == [0, 0]
    assert "further apart than the recordings are long" in take.problems[0]


def test_an_empty_stamp_beside_a_real_one_does_not_part_the_lanes_by_hours(tmp_path: Path) -> None:
    stamped(tmp_path / "a.wav", 0)
    stamped(tmp_path / "b.wav", 48000 * 14 * 3600)
    assert [lane.place_samples for lane in open_take([tmp_path]).session.lanes] == [0, 0]


def test_a_take_across_midnight_stays_together(tmp_path: Path) -> None:
    stamped(tmp_path / "a.wav", 48000 * 24 * 3600 - 100)
    stamped(tmp_path / "b.wav", 50)
    take = open_take([tmp_path])
    assert [lane.place_samples for lane in take.session.lanes] == [0, 150]


def test_bad_files_are_named_and_the_others_open(tmp_path: Path) -> None:
    recording(tmp_path / "good.wav", noise(480))
    (tmp_path / "text.wav").write_text("not audio at all", "utf-8")
    (tmp_path / "empty.wav").write_bytes(b"")
    take = open_take([tmp_path, tmp_path / "gone.wav"])
    assert [lane.name for lane in take.session.lanes] == ["good"]
    said = "\n".join(take.problems)
    for name in ("text.wav", "empty.wav", "gone.wav is missing", "good is the only lane"):
        assert name in said


def test_nothing_readable_is_one_clear_error(tmp_path: Path) -> None:
    (tmp_path / "text.wav").write_text("not audio at all", "utf-8")
    with pytest.raises(NotAudio, match=r"text\.wav"):
        open_take([tmp_path])
    (tmp_path / "empty.wav").write_bytes(b"")
    with pytest.raises(NothingReadable, match=r"(?s)empty\.wav.*text\.wav"):
        open_take([tmp_path])
    with pytest.raises((EmptyRecording, NotAudio), match=r"empty\.wav"):
        open_take([tmp_path / "empty.wav"])


def test_no_recordings_at_all(tmp_path: Path) -> None:
    with pytest.raises(NoRecordings, match=tmp_path.name):
        open_take([tmp_path])
    with pytest.raises(NoRecordings):
        open_take([])
