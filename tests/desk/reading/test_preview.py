"""The rough sketch against the samples it was taken from."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from lagline.desk.reading.preview import EXCERPT_FRAMES, EXCERPTS, LEAST_FRAMES, Sketch, preview


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two channels of noise that grows; the second at half the level."""
    path = tmp_path_factory.mktemp("preview") / "long.wav"
    frames = LEAST_FRAMES + 1000
    noise = np.random.default_rng(4).uniform(-0.9, 0.9, frames) * np.linspace(0, 1, frames)
    soundfile.write(path, np.stack([noise, noise / 2], axis=1), 48_000, subtype="PCM_24")
    return path


def test_every_excerpt_is_drawn_with_its_extremes(recording: Path) -> None:
    left, right = preview(recording)
    samples, _ = soundfile.read(recording, dtype="float32")
    lows, highs = left.columns(0, len(samples), EXCERPTS)
    for number in (0, 7, EXCERPTS // 2, EXCERPTS - 1):
        start = int((number + 0.5) * len(samples) / EXCERPTS)
        part = samples[start : start + EXCERPT_FRAMES, 0]
        assert (lows[number], highs[number]) == (part.min(), part.max())
    np.testing.assert_allclose(
        right.columns(0, len(samples), 50)[1], left.columns(0, len(samples), 50)[1] / 2, atol=1e-6
    )


def test_outside_the_recording_it_is_silent(recording: Path) -> None:
    rough = preview(recording)[0]
    assert not np.any(rough.columns(-10_000, -100, 20))
    assert not np.any(rough.columns(rough.frames + 1, rough.frames + 1_000, 20))


def test_at_another_rate_it_is_as_long_in_time(recording: Path) -> None:
    rough = preview(recording)[0]
    double = rough.at_rate(48_000, 96_000)
    np.testing.assert_array_equal(
        double.columns(0, double.frames, 100)[1], rough.columns(0, rough.frames, 100)[1]
    )


def test_short_compressed_and_broken_recordings_have_none(tmp_path: Path) -> None:
    short = tmp_path / "short.wav"
    soundfile.write(short, np.zeros(1000), 48_000)
    broken = tmp_path / "broken.wav"
    broken.write_bytes(b"RIFF and nothing else")
    packed = tmp_path / "packed.flac"
    soundfile.write(packed, np.zeros(LEAST_FRAMES + 1), 48_000)
    for path in (short, broken, packed, tmp_path / "gone.wav"):
        assert preview(path) == ()


def test_what_is_read_replaces_the_sketch(recording: Path) -> None:
    class Read:
        ready_frames = 100_000

        def columns(self, first: float, stop: float, count: int) -> tuple[np.ndarray, np.ndarray]:
            return np.full(count, -2, np.float32), np.full(count, 2, np.float32)

    rough = preview(recording)[0]
    lows, highs = Sketch(rough, Read()).columns(0, 200_000, 20)
    assert (highs[:10] == 2).all() and (lows[:10] == -2).all()
    np.testing.assert_array_equal(highs[10:], rough.columns(0, 200_000, 20)[1][10:])
    np.testing.assert_array_equal(Sketch(rough).columns(0, 200_000, 20)[1], rough.columns(0, 200_000, 20)[1])
