"""Takes below a folder: one a folder, or by file names."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.support.recordings import noise
from tests.support.takes import lane_on_disk

from lagline.errors import NoRecordings, NoTakes
from lagline.jobs.find_takes import FoundTake, find_takes, share
from lagline.jobs.name_patterns import number_reading
from lagline.media.bext import Bext, pack_bext
from lagline.media.riff import Chunk


def touch(root: Path, *names: str) -> None:
    for name in names:
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).touch()


def test_each_folder_with_two_recordings_is_a_take(tmp_path: Path) -> None:
    touch(
        tmp_path, "b/1.wav", "b/2.wav", "a/x/1.flac", "a/x/2.WAV", "a/x/log.txt", "single/1.wav", ".bin/1.wav"
    )
    touch(tmp_path, ".bin/2.wav", "out/1.wav", "out/2.wav", "b/.3.wav")
    takes = find_takes(tmp_path, leave_out=tmp_path / "out").takes
    assert [take.name for take in takes] == ["a/x", "b"]
    assert [path.name for path in takes[1].paths] == ["1.wav", "2.wav"]


def test_recordings_in_the_root_itself_are_a_take(tmp_path: Path) -> None:
    touch(tmp_path, "1.wav", "2.wav")
    touch(tmp_path, f"{tmp_path.name}/1.wav", f"{tmp_path.name}/2.wav")
    assert [take.name for take in find_takes(tmp_path).takes] == [".", tmp_path.name]


def test_takes_by_the_names_of_the_files(tmp_path: Path) -> None:
    touch(
        tmp_path,
        "ballad_t1_near.wav",
        "ballad_t1_far.wav",
        "ballad_t2_near.wav",
        "ballad_t2_far.wav",
        "x.wav",
    )
    takes = find_takes(tmp_path, "{take}_{lane}").takes
    assert [(take.name, len(take.paths)) for take in takes] == [("ballad_t1", 2), ("ballad_t2", 2)]


def test_a_take_is_one_however_its_name_is_capitalised(tmp_path: Path) -> None:
    touch(tmp_path, "Song1_near.wav", "song1_far.wav", "SONG2_near.wav", "song2_far.wav", "Song2_Room.wav")
    found = find_takes(tmp_path, "{take}_{lane}")
    assert [(take.name, sorted(path.name for path in take.paths)) for take in found.takes] == [
        ("SONG2", ["SONG2_near.wav", "Song2_Room.wav", "song2_far.wav"]),
        ("Song1", ["Song1_near.wav", "song1_far.wav"]),
    ]
    assert found.problems == ()


def test_two_takes_whose_names_differ_in_capitals_alone_stay_two(tmp_path: Path) -> None:
    names = ("Song_near.wav", "Song_far.wav", "song_near.wav", "song_far.wav")
    touch(tmp_path, *names)
    if len(list(tmp_path.iterdir())) < len(names):
        pytest.skip("this file system does not tell capitals apart")
    found = find_takes(tmp_path, "{take}_{lane}")
    assert [(take.name, len(take.paths)) for take in found.takes] == [("Song", 2), ("song", 2)]


def test_recordings_that_are_in_no_take_are_named(tmp_path: Path) -> None:
    touch(tmp_path, "a_near.wav", "a_far.wav", "b_near.wav", "rough.wav", "sub/mix.wav", "sub/notes.txt")
    found = find_takes(tmp_path, "{take}_{lane}")
    assert [take.name for take in found.takes] == ["a"]
    alone, unlike, below = found.problems
    assert alone.startswith("Left out: b_near.wav.") and "no other recording" in alone
    assert unlike.startswith("Left out: rough.wav.") and "{take}_{lane}" in unlike
    assert below.startswith("Left out: sub/mix.wav.")

    touch(tmp_path, *(f"loose/{number}/x.wav" for number in range(2)))
    assert [text.split(". ")[0] for text in find_takes(tmp_path).problems] == [
        "Left out: loose/0/x.wav",
        "Left out: loose/1/x.wav",
        "Left out: sub/mix.wav",
    ]


def test_many_that_are_left_out_make_one_sentence(tmp_path: Path) -> None:
    touch(tmp_path, "a_near.wav", "a_far.wav", *(f"{number:02}.wav" for number in range(30)))
    (said,) = find_takes(tmp_path, "{take}_{lane}").problems
    assert "00.wav, 01.wav" in said and "and 25 more" in said and len(said) < 200


def test_nothing_found_is_an_error(tmp_path: Path) -> None:
    touch(tmp_path, "one/notes.txt")
    with pytest.raises(NoRecordings):
        find_takes(tmp_path)


def test_recordings_that_make_no_take_are_named(tmp_path: Path) -> None:
    touch(tmp_path, "one/1.wav")
    with pytest.raises(NoTakes, match=r"one/1\.wav.*no other recording"):
        find_takes(tmp_path)
    touch(tmp_path, "one/2.wav")
    with pytest.raises(NoTakes, match=r"1\.wav, one/2\.wav.*do not match \{take\}_\{lane\}"):
        find_takes(tmp_path, "{take}_{lane}")


def test_many_reasons_do_not_fill_the_screen(tmp_path: Path) -> None:
    touch(tmp_path, *(f"{folder:02}/1.wav" for folder in range(30)))
    with pytest.raises(NoTakes) as told:
        find_takes(tmp_path)
    assert str(told.value).endswith(" ...") and len(str(told.value)) < 600


def test_the_folder_one_is_in_is_told_by_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(NoRecordings, match=tmp_path.name):
        find_takes(Path())


@given(st.integers(0, 50), st.integers(1, 9))
def test_shares_have_nothing_in_common_and_miss_nothing(count: int, of: int) -> None:
    takes = [FoundTake(str(n), ()) for n in range(count)]
    shares = [share(takes, number, of) for number in range(1, of + 1)]
    assert sorted((take for part in shares for take in part), key=lambda take: int(take.name)) == takes


@pytest.mark.parametrize(("number", "of"), [(0, 3), (4, 3), (1, 0)])
def test_a_share_that_is_none(number: int, of: int) -> None:
    with pytest.raises(ValueError, match="no share"):
        share([], number, of)


def members(root: Path, **more: object) -> dict[str, list[str]]:
    found = find_takes(root, **more)  # type: ignore[arg-type]
    return {
        take.name: sorted(path.relative_to(root).as_posix() for path in take.paths) for take in found.takes
    }


def test_a_take_is_a_number_in_the_names(tmp_path: Path) -> None:
    touch(
        tmp_path, "tom 1_03.wav", "tom 2_03.wav", "kick_03.wav", "tom 1_12.wav", "tom 2_12.wav", "kick_12.wav"
    )
    touch(tmp_path, "slate.wav")
    assert members(tmp_path, told_by="number") == {
        "Take 3": ["kick_03.wav", "tom 1_03.wav", "tom 2_03.wav"],
        "Take 12": ["kick_12.wav", "tom 1_12.wav", "tom 2_12.wav"],
    }
    (said,) = find_takes(tmp_path, told_by="number").problems
    assert said == "Left out: slate.wav. There is no number in their names."


def test_the_number_after_the_word_take_is_the_takes(tmp_path: Path) -> None:
    touch(tmp_path, *(f"T{take} mic {mic}.wav" for take in (1, 2) for mic in (1, 2)))
    assert list(members(tmp_path, told_by="number")) == ["Take 1", "Take 2"]
    assert number_reading(["T1 mic 2"])["T1 mic 2"][0] == "Take 1"


def test_lanes_with_a_folder_each_meet_in_their_take_numbers(tmp_path: Path) -> None:
    touch(tmp_path, "near/001.wav", "near/002.wav", "far/001.wav", "far/002.wav")
    assert members(tmp_path, told_by="number") == {
        "Take 1": ["far/001.wav", "near/001.wav"],
        "Take 2": ["far/002.wav", "near/002.wav"],
    }


def stamped(path: Path, start_s: float, seconds: float = 2.0, date: str = "2031-05-02") -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    stamp = Bext(date=date, time_reference=round(start_s * 8000))
    lane_on_disk(
        path, noise(int(8000 * seconds))[:, 0], rate_hz=8000, chunks=[Chunk(b"bext", pack_bext(stamp))]
    )


def test_what_ran_at_the_same_time_is_a_take(tmp_path: Path) -> None:
    """In whatever folder; a recorder that was started later and one that ran on are of it too."""
    stamped(tmp_path / "desk" / "a.wav", 36_000.0)
    stamped(tmp_path / "desk" / "b.wav", 36_010.0, 4.0)
    stamped(tmp_path / "field" / "x.wav", 36_000.7)
    stamped(tmp_path / "field" / "y.wav", 36_009.5)
    touch(tmp_path, "field/z.wav")
    assert members(tmp_path, told_by="time") == {
        "10-00-00": ["desk/a.wav", "field/x.wav"],
        "10-00-09": ["desk/b.wav", "field/y.wav"],
    }
    (said,) = find_takes(tmp_path, told_by="time").problems
    assert said.startswith("Left out: field/z.wav. Without a time stamp")


def test_the_same_hour_of_two_days_is_two_takes(tmp_path: Path) -> None:
    for date in ("2031-05-02", "2031-05-03"):
        for lane in ("near", "far"):
            stamped(tmp_path / f"{lane} {date}.wav", 36_000.0, date=date)
    assert list(members(tmp_path, told_by="time")) == ["2031-05-02 10-00-00", "2031-05-03 10-00-00"]
