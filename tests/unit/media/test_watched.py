"""Recordings that change while they are read, also in ways that leave size and time as they were."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.support.recordings import noise, recording

from lagline.errors import ChangedWhileRead, FileMissing
from lagline.media.clip import Clip
from lagline.media.overview import build_overviews
from lagline.media.watched import Watched


def keeping_times(path: Path, change: Callable[[], object]) -> None:
    """Change a file and set its times back, as backup and sync programs do."""
    before = path.stat()
    change()
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert (path.stat().st_size, path.stat().st_mtime_ns) == (before.st_size, before.st_mtime_ns)


def one_byte(path: Path) -> None:
    with path.open("r+b") as file:
        file.seek(path.stat().st_size - 30_001)
        byte = file.read(1)
        file.seek(-1, 1)
        file.write(bytes([byte[0] ^ 1]))


def replaced(path: Path, other: Path) -> None:
    shutil.copy(other, path.with_suffix(".new"))
    path.with_suffix(".new").replace(path)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    recording(tmp_path / "other.wav", noise(300_000, seed=2))
    return recording(tmp_path / "near.wav", noise(300_000, seed=1))


def test_what_is_left_alone_is_unchanged(path: Path) -> None:
    watched = Watched([path, path.with_name("nowhere.wav")])
    Clip(path, 0).read(0, 300_000)
    build_overviews(path)
    watched.check()


@pytest.mark.parametrize("change", ["one byte", "all of it", "another file"])
def test_a_change_that_keeps_size_and_time_is_seen(path: Path, change: str) -> None:
    watched = Watched([path])
    other = path.with_name("other.wav")
    keeping_times(
        path,
        lambda: {
            "one byte": lambda: one_byte(path),
            "all of it": lambda: path.write_bytes(other.read_bytes()),
            "another file": lambda: replaced(path, other),
        }[change](),
    )
    with pytest.raises(ChangedWhileRead):
        watched.check()


def test_one_that_is_gone_is_missing(path: Path) -> None:
    watched = Watched([path])
    path.unlink()
    with pytest.raises(FileMissing):
        watched.check()


def test_nothing_kept_of_a_recording_is_shown_for_another_in_its_place(path: Path) -> None:
    before = build_overviews(path).health[0].fingerprint
    slow = Clip(path, 0, 44_100)
    first = slow.read(0, 1_000)
    keeping_times(path, lambda: path.write_bytes(path.with_name("other.wav").read_bytes()))
    assert build_overviews(path).health[0].fingerprint != before
    assert not (Clip(path, 0, 44_100).read(0, 1_000) == first).all()
    assert not (Clip(path, 0).read(0, 1_000) == first).all()
