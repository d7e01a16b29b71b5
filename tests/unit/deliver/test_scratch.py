"""What is taken for left behind, and what is left alone whatever it is called."""

from __future__ import annotations

import os
import time
from pathlib import Path

from lagline.deliver.scratch import clear_left_behind, scratch_in

A_WEEK_AGO = time.time() - 7 * 86_400


def made(folder: Path, *names: str, age: float = A_WEEK_AGO) -> Path:
    folder.mkdir()
    for name in names:
        (folder / name).write_bytes(b"something")
        os.utime(folder / name, (age, age))
    os.utime(folder, (age, age))
    return folder


def test_a_scratch_folder_is_gone_at_the_end_and_safe_until_then(tmp_path: Path) -> None:
    with scratch_in(tmp_path / "out") as scratch:
        (scratch / "near.wav").write_bytes(b"sound")
        clear_left_behind(tmp_path / "out")
        assert (scratch / "near.wav").exists()
        with scratch_in(tmp_path / "out") as other:
            assert scratch.exists() and other.exists() and other != scratch
    assert list((tmp_path / "out").iterdir()) == []


def test_what_nobody_locks_any_more_is_removed_at_once(tmp_path: Path) -> None:
    left = made(tmp_path / ".lagline-a1b2c3d4", "near.wav", age=time.time())
    (left / "in-use").write_bytes(b"locked")
    clear_left_behind(tmp_path)
    assert not left.exists()


def test_without_a_lock_it_must_be_old_and_begun(tmp_path: Path) -> None:
    begun = made(tmp_path / ".lagline-a1b2c3d4", ".near.wav.ab12cd34.part", "far.wav")
    empty = made(tmp_path / ".lagline-a1b2c3d5")
    fresh = made(tmp_path / ".lagline-a1b2c3d6", ".near.wav.ab12cd34.part", age=time.time())
    unmarked = made(tmp_path / ".lagline-a1b2c3d7", ".near.wav.ab12cd34.part", "in-use", age=time.time())
    (unmarked / "in-use").write_bytes(b"")  # made, and not yet locked
    clear_left_behind(tmp_path)
    assert not begun.exists() and not empty.exists()
    assert fresh.exists() and unmarked.exists()


def test_what_only_sounds_like_ours_stays(tmp_path: Path) -> None:
    kept = [
        made(tmp_path / ".lagline-settings", "near.wav"),
        made(tmp_path / ".lagline-my own notes", ".near.wav.ab12cd34.part"),
        made(tmp_path / ".lagline", ".near.wav.ab12cd34.part"),
        made(tmp_path / "lagline-a1b2c3d4", ".near.wav.ab12cd34.part"),
    ]
    elsewhere = made(tmp_path / "elsewhere", ".near.wav.ab12cd34.part")
    (tmp_path / ".lagline-a1b2c3d8").symlink_to(elsewhere, target_is_directory=True)
    (tmp_path / ".lagline-a1b2c3d9").write_bytes(b"a file")
    clear_left_behind(tmp_path)
    assert all(folder.exists() for folder in (*kept, elsewhere))
    assert (tmp_path / ".lagline-a1b2c3d8").is_symlink() and (tmp_path / ".lagline-a1b2c3d9").exists()
