"""The script for large takes at a small size; scale.py does the large one."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.robustness import scale

from lagline.media.clip import Clip
from lagline.media.probe import probe


def test_a_sparse_recording_is_what_it_says(tmp_path: Path) -> None:
    path = tmp_path / "lane.wav"
    scale.sparse_recording(path, 100.0, 8_000, 40, 1)
    info = probe(path)
    assert (info.format, info.subtype, info.frames, info.warning) == ("WAV", "PCM_24", 800_000, None)
    clip = Clip(path, 0)
    assert not clip.read(300_000, 320_000).any()
    assert clip.read(400_040, 400_200).any()


def test_above_four_gib_it_is_rf64(tmp_path: Path) -> None:
    path = tmp_path / "lane.wav"
    scale.sparse_recording(path, 2**32 / 3 / 96_000 + 10, 96_000, 0, 1)
    info = probe(path)
    assert (info.format, info.warning) == ("RF64", None)
    assert info.size_bytes > 2**32
    assert Clip(path, 0).read(info.frames - 1_000, info.frames).any()


def test_the_steps_say_what_they_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LAGLINE_CACHE_DIR", str(tmp_path / "cache"))
    take = tmp_path / "take"
    take.mkdir()
    for number in range(2):
        scale.sparse_recording(take / f"lane {number}.wav", 62.0, 8_000, 40 * number, number)
    assert scale.opens(take) == "2 lanes of 0.02 h"
    assert scale.builds_overviews(take).startswith("2 overviews")
    assert scale.analyses(take) == "2 of 2 arrivals within a sample"
