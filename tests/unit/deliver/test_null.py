"""What is left when a recording is taken from its file, of files that our interpolation did not make."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

from lagline.deliver.null import Made, copies, left_db
from lagline.media.clip import Clip

RATE_HZ = 48_000
NOISE = 0.1 * np.random.default_rng(1).standard_normal(2 * RATE_HZ)


@pytest.fixture
def recording(tmp_path: Path) -> Clip:
    soundfile.write(tmp_path / "in.wav", NOISE, RATE_HZ, "FLOAT")
    return Clip(tmp_path / "in.wav", 0)


def later(samples: float) -> np.ndarray:
    """The noise so much later, by turning its spectrum."""
    size = len(NOISE) + 4_096
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(size) * samples)
    return np.fft.irfft(np.fft.rfft(NOISE, size) * turn, size)


@pytest.mark.parametrize("polarity", [1, -1])
@pytest.mark.parametrize("shift", [0.0, 10.25, 1_000.5])
def test_a_lane_moved_as_said_leaves_what_floats_round_away(
    tmp_path: Path, recording: Clip, shift: float, polarity: int
) -> None:
    soundfile.write(tmp_path / "out.wav", polarity * later(shift), RATE_HZ, "FLOAT")
    left = left_db(tmp_path / "out.wav", recording, Made(shift, polarity))
    assert left is not None and left < -140
    inverted = left_db(tmp_path / "out.wav", recording, Made(shift, -polarity))
    assert inverted == pytest.approx(20 * np.log10(2), abs=0.01)


def test_a_thousandth_of_a_sample_leaves_what_theory_says(tmp_path: Path, recording: Clip) -> None:
    """|1 - exp(-iwd)|^2 of a delay d, averaged over the band that is compared."""
    soundfile.write(tmp_path / "out.wav", later(3.001), RATE_HZ, "FLOAT")
    frequencies = np.linspace(20.0, 0.4 * RATE_HZ, 10_000)
    expected = np.mean(np.abs(1 - np.exp(-2j * np.pi * frequencies * 0.001 / RATE_HZ)) ** 2)
    left = left_db(tmp_path / "out.wav", recording, Made(3.0, 1))
    assert left == pytest.approx(10 * np.log10(expected), abs=0.3)


def test_another_rate_and_another_clock(tmp_path: Path, recording: Clip) -> None:
    soundfile.write(tmp_path / "out.wav", soxr.resample(NOISE, RATE_HZ, 44_100, "VHQ"), 44_100, "FLOAT")
    left = left_db(tmp_path / "out.wav", recording, Made(0.0, 1))
    assert left is not None and left < -95
    ppm = 1e6 * (RATE_HZ / 44_100 - 1)  # as if the file's clock had been that much slower
    soundfile.write(tmp_path / "slow.wav", NOISE, 44_100, "FLOAT")
    recorded = left_db(
        tmp_path / "slow.wav", recording, Made(0.0, 1, drift_ppm=-1e6 * (1 - 44_100 / RATE_HZ))
    )
    assert ppm > 0 and recorded is not None and recorded < -140


def test_noise_of_a_files_depth_is_not_held_against_it(tmp_path: Path, recording: Clip) -> None:
    soundfile.write(tmp_path / "out.wav", later(7.0), RATE_HZ, "PCM_16")
    bare = left_db(tmp_path / "out.wav", recording, Made(7.0, 1))
    assert bare is not None and -85 < bare < -75
    left = left_db(tmp_path / "out.wav", recording, Made(7.0, 1, noise=4.0**-15 / 4))
    assert left is not None and left < -140


def test_nothing_to_compare(tmp_path: Path, recording: Clip) -> None:
    soundfile.write(tmp_path / "out.wav", NOISE, RATE_HZ, "FLOAT")
    assert left_db(tmp_path / "out.wav", recording, Made(3.0 * RATE_HZ, 1)) is None
    soundfile.write(tmp_path / "silent.wav", 0 * NOISE, RATE_HZ, "FLOAT")
    assert left_db(tmp_path / "out.wav", Clip(tmp_path / "silent.wav", 0), Made(0.0, 1)) is None


def test_a_copy_is_one_to_the_last_sample(tmp_path: Path, recording: Clip) -> None:
    def copied(samples: np.ndarray, begins: float = 5.0) -> bool:
        soundfile.write(tmp_path / "out.wav", samples, RATE_HZ, "FLOAT")
        return copies(tmp_path / "out.wav", [(0, recording, Made(begins, 1))]) == [True]

    whole = np.concatenate([np.zeros(5), NOISE, np.zeros(9)])
    assert copied(whole)
    assert not copied(whole, begins=6.0)
    assert not copied(whole[:-10])
    for place in (0, 5, 70_000, len(whole) - 1):
        one_off = whole.copy()
        one_off[place] += 1e-6
        assert not copied(one_off)
