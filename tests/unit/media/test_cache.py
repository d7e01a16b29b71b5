import os
from pathlib import Path

from lagline.media.cache import cached_path, trim


def cached(folder: Path, name: str, size: int, used: int) -> Path:
    path = folder / name
    path.write_bytes(bytes(size))
    os.utime(path, (used, used))
    return path


def test_what_was_used_longest_ago_goes_first(tmp_path: Path) -> None:
    old = cached(tmp_path, "a.overview", 400, 1_000)
    newer = cached(tmp_path, "b.rf64", 400, 2_000)
    newest = cached(tmp_path, "c.rf64", 400, 3_000)
    keep = cached(tmp_path, "d.rf64", 5_000, 500)
    foreign = cached(tmp_path, "notes.txt", 9_000, 10)
    trim(keep, 900)
    assert [path.exists() for path in (old, newer, newest, keep, foreign)] == [False, True, True, True, True]
    trim(keep, 0)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["d.rf64", "notes.txt"]


def test_leavings_of_killed_processes_go_after_a_day(tmp_path: Path) -> None:
    keep = cached(tmp_path, "d.rf64", 10, 500)
    old = cached(tmp_path, "x.rf64.77.part", 10, 1_000)
    fresh = tmp_path / "y.rf64.78.part"
    fresh.write_bytes(b"being written")
    trim(keep)
    assert (old.exists(), fresh.exists()) == (False, True)


def test_the_folder_can_be_named(own_cache: Path) -> None:
    assert cached_path(Path("/x/a.wav"), 1, 2, ".overview").parent == own_cache


def test_another_state_of_a_file_is_another_entry() -> None:
    names = {cached_path(Path("/x/a.wav"), size, time, ".overview") for size in (1, 2) for time in (3, 4)}
    assert len(names | {cached_path(Path("/x/b.wav"), 1, 3, ".overview")}) == 5
