"""Takes below a folder: one a folder, or by file names."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lagline.errors import NoRecordings
from lagline.jobs.find_takes import FoundTake, find_takes, shard


def touch(root: Path, *names: str) -> None:
    for name in names:
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).touch()


def test_each_folder_with_two_recordings_is_a_take(tmp_path: Path) -> None:
    touch(
        tmp_path, "b/1.wav", "b/2.wav", "a/x/1.flac", "a/x/2.WAV", "a/x/log.txt", "single/1.wav", ".bin/1.wav"
    )
    touch(tmp_path, ".bin/2.wav", "out/1.wav", "out/2.wav", "b/.3.wav")
    takes = find_takes(tmp_path, leave_out=tmp_path / "out")
    assert [take.name for take in takes] == ["a/x", "b"]
    assert [path.name for path in takes[1].paths] == ["1.wav", "2.wav"]


def test_recordings_in_the_root_itself_are_a_take(tmp_path: Path) -> None:
    touch(tmp_path, "1.wav", "2.wav")
    touch(tmp_path, f"{tmp_path.name}/1.wav", f"{tmp_path.name}/2.wav")
    assert [take.name for take in find_takes(tmp_path)] == [".", tmp_path.name]


def test_takes_by_the_names_of_the_files(tmp_path: Path) -> None:
    touch(
        tmp_path,
        "ballad_t1_near.wav",
        "ballad_t1_far.wav",
        "ballad_t2_near.wav",
        "ballad_t2_far.wav",
        "x.wav",
    )
    takes = find_takes(tmp_path, "{take}_{lane}")
    assert [(take.name, len(take.paths)) for take in takes] == [("ballad_t1", 2), ("ballad_t2", 2)]


def test_nothing_found_is_an_error(tmp_path: Path) -> None:
    touch(tmp_path, "one/1.wav")
    with pytest.raises(NoRecordings):
        find_takes(tmp_path)


@given(st.integers(0, 50), st.integers(1, 9))
def test_shards_share_nothing_and_miss_nothing(count: int, of: int) -> None:
    takes = [FoundTake(str(n), ()) for n in range(count)]
    shards = [shard(takes, number, of) for number in range(1, of + 1)]
    assert sorted((take for part in shards for take in part), key=lambda take: int(take.name)) == takes


@pytest.mark.parametrize(("number", "of"), [(0, 3), (4, 3), (1, 0)])
def test_a_shard_that_is_none(number: int, of: int) -> None:
    with pytest.raises(ValueError, match="no shard"):
        shard([], number, of)
