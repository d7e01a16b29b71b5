"""What is one recording and what is another."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.support.recordings import cut_off, noise, recording

from lagline.media.bext import Bext, pack_bext
from lagline.media.fingerprint import fingerprints, is_comparable
from lagline.media.probe import probe
from lagline.media.riff import Chunk
from lagline.media.write import write_audio


def of(path: Path, *, complete: bool = False) -> tuple[str, ...]:
    return fingerprints(probe(path), complete=complete)


@pytest.mark.parametrize("complete", [False, True])
def test_a_copy_is_the_same_in_any_format_that_loses_nothing(tmp_path: Path, complete: bool) -> None:
    sound = noise(200_000, channels=2, seed=1)
    wav = recording(tmp_path / "a.wav", sound)
    copies = [
        recording(tmp_path / "b.flac", sound),
        recording(tmp_path / "c.aiff", sound),
        recording(tmp_path / "d.w64", sound, subtype="FLOAT"),
        recording(tmp_path / "e.caf", sound, subtype="PCM_32"),
    ]
    with_texts = tmp_path / "f.wav"
    chunk = Chunk(b"bext", pack_bext(Bext(description="said later", time_reference=5)))
    write_audio(with_texts, [sound], 48_000, 2, frames=len(sound), chunks=[chunk])
    left, right = of(wav, complete=complete)
    assert left != right and is_comparable(left)
    for copy in (*copies, with_texts):
        assert of(copy, complete=complete) == (left, right), copy.name
    mono = recording(tmp_path / "right.wav", sound[:, 1:])
    assert of(mono, complete=complete) == (right,)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(frames=st.integers(1, 200_000), share=st.floats(0, 1))
def test_one_other_sample_makes_another_recording_when_all_are_looked_at(
    tmp_path: Path, frames: int, share: float
) -> None:
    sound = noise(frames, seed=2)
    before = of(recording(tmp_path / "a.wav", sound), complete=True)
    sound[min(frames - 1, int(share * frames))] += np.float32(2.0**-23)
    assert of(recording(tmp_path / "a.wav", sound), complete=True) != before


def test_another_sound_rate_or_length_is_another_recording(tmp_path: Path) -> None:
    sound = noise(200_000, seed=1)
    before = of(recording(tmp_path / "a.wav", sound))
    others = [
        recording(tmp_path / "b.wav", noise(200_000, seed=2)),
        recording(tmp_path / "c.wav", -sound),
        recording(tmp_path / "d.wav", sound[:-1]),
        recording(tmp_path / "e.wav", sound, rate_hz=44_100),
        recording(tmp_path / "f.wav", sound, subtype="PCM_16"),
        recording(tmp_path / "g.wav", np.roll(sound, 1)),
    ]
    assert before not in [of(path) for path in others]
    assert of(tmp_path / "a.wav", complete=True) != before  # never to be taken for each other


@pytest.mark.parametrize(("name", "subtype"), [("a.mp3", "MPEG_LAYER_III"), ("a.ogg", "VORBIS")])
def test_where_decoding_may_differ_the_bytes_count(tmp_path: Path, name: str, subtype: str) -> None:
    path = recording(tmp_path / name, noise(100_000, channels=2), subtype=subtype)
    left, right = of(path)
    assert left != right
    copy = tmp_path / f"copy of {name}"
    copy.write_bytes(path.read_bytes())
    assert of(copy) == (left, right)
    data = bytearray(path.read_bytes())
    data[len(data) // 2 :] = bytes(len(data) - len(data) // 2)
    assert of(path, complete=True)
    copy.write_bytes(data)
    assert of(copy) != (left, right)


def test_a_damaged_file_has_one_too(tmp_path: Path) -> None:
    whole = recording(tmp_path / "a.flac", noise(100_000))
    damaged = cut_off(whole, tmp_path / "b.flac", 0.6)
    assert of(damaged) == of(damaged) != of(whole)
