"""What is wrong with recordings, said of the recording it is wrong with."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from tests.support.recordings import noise, recording

from lagline.jobs.check import check_recordings


def test_twins_are_named_at_the_later_one_even_with_the_same_file_name(tmp_path: Path) -> None:
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir()
        recording(tmp_path / folder / "mic.wav", noise(48_000, seed=1))
    recording(tmp_path / "other.wav", noise(48_000, seed=2))
    paths = [tmp_path / "other.wav", tmp_path / "one" / "mic.wav", tmp_path / "two" / "mic.wav"]
    other, first, second = check_recordings(paths)
    assert other.problems == first.problems == ()
    (problem,) = second.problems
    assert "exactly the same samples" in problem and str(tmp_path / "one" / "mic.wav") in problem


def test_a_copy_upside_down_is_named_and_a_mirrored_tone_once(tmp_path: Path) -> None:
    sound = noise(48_000, seed=1)
    tone = (0.5 * np.sin(2 * np.pi * 1_000 * np.arange(48_000) / 48_000)).astype(np.float32)
    paths = [
        recording(tmp_path / f"{name}.wav", samples)
        for name, samples in (("a", sound), ("b", -sound), ("c", tone), ("d", tone))
    ]
    a, b, c, d = check_recordings(paths)
    assert a.problems == c.problems == ()
    assert len(b.problems) == len(d.problems) == 1
    assert "upside down" in b.problems[0] and "exactly the same" in d.problems[0]


def test_a_file_that_cannot_be_read_leaves_the_others_checked(tmp_path: Path) -> None:
    recording(tmp_path / "good.wav", noise(48_000, channels=2))
    (tmp_path / "bad.wav").write_bytes(b"no audio")
    told: list[float] = []
    bad, left, right = check_recordings([tmp_path / "bad.wav", tmp_path / "good.wav"], progress=told.append)
    assert bad.health is None and "bad.wav" in bad.problems[0]
    assert (left.name, right.name) == ("good.wav channel 1", "good.wav channel 2")
    assert left.health is not None and told[-1] > 0


def test_a_recording_that_changes_while_it_is_checked_is_named(tmp_path: Path) -> None:
    near, far = (recording(tmp_path / f"{name}.wav", noise(48_000, seed=n)) for n, name in enumerate("nf"))
    other = noise(48_000, seed=5)
    one, two = check_recordings([near, far], progress=lambda _: recording(far, other) and None)
    assert one.health is not None
    assert two.health is None and "has changed while it was read" in two.problems[0]
