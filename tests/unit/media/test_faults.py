"""Faults planted in generated recordings, each found; and none in clean ones."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from tests.support.recordings import recording
from tests.support.scenarios import FAMILIES, scenario

from lagline.media.faults import FlatTops, TransferFaults
from lagline.media.health import Health, sentences, twin_sentences
from lagline.media.overview import build_overviews

RATE_HZ = 48_000


def music(seed: int = 0, frames: int = 200_000) -> npt.NDArray[np.float64]:
    """Decaying partials over a little noise."""
    rng = np.random.default_rng(seed)
    at = np.arange(frames) / RATE_HZ
    notes = sum(
        np.exp(-3 * (at % 0.5)) * np.sin(2 * np.pi * hz * at + rng.uniform(0, 6))
        for hz in (110.0, 221.3, 447.9)
    )
    return 0.2 * notes + 0.002 * rng.standard_normal(frames)


def measured(path: Path, samples: npt.NDArray[np.floating], subtype: str = "PCM_24") -> tuple[Health, str]:
    built = build_overviews(recording(path, samples, RATE_HZ, subtype))
    return built.health[0], " ".join(sentences("Room", built.info, built.health[0]))


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_clipping_below_full_scale_is_seen(tmp_path: Path, subtype: str) -> None:
    health, said = measured(tmp_path / "a.wav", 0.7 * np.clip(3.0 * music(), -1, 1), subtype)
    assert health.flat_tops > 100 and health.clipped_runs == 0
    assert "flat at -3.1 dBFS" in said


def test_a_slow_round_top_of_few_bits_is_not_flat(tmp_path: Path) -> None:
    at = np.arange(200_000) / RATE_HZ
    health, said = measured(tmp_path / "a.wav", 0.5 * np.sin(2 * np.pi * 20 * at), "PCM_16")
    assert health.flat_tops == 0 and "flat" not in said


def test_a_higher_peak_that_is_not_flat_ends_the_suspicion() -> None:
    flats = FlatTops(1.0)
    clipped = np.clip(music(), -0.1, 0.1).astype(np.float32)
    flats.add(clipped, 0.1)
    assert flats.count > 10
    flats.add(music(1).astype(np.float32), float(np.abs(music(1).astype(np.float32)).max()))
    assert flats.count == 0


@pytest.mark.parametrize("zeros", [30, 64, 300])
@pytest.mark.parametrize("at", [30_001, 70_007])
def test_lost_samples_are_found_where_they_are(tmp_path: Path, zeros: int, at: int) -> None:
    samples = music()
    samples[at : at + zeros] = 0.0
    health, said = measured(tmp_path / "a.wav", samples)
    assert health.gaps == 1
    assert health.first_gap_s == pytest.approx(at / RATE_HZ, abs=0.002)
    assert "drops to exact zeros in 1 place" in said


@pytest.mark.parametrize("length", [64, 256, 1024])
def test_a_block_that_plays_twice_is_found(tmp_path: Path, length: int) -> None:
    samples, at = music(), 50_003
    samples[at + length : at + 2 * length] = samples[at : at + length]
    health, said = measured(tmp_path / "a.wav", samples)
    assert health.repeats == 1
    assert health.first_repeat_s == pytest.approx((at + length) / RATE_HZ, abs=1e-4)
    assert "plays a stretch twice" in said


def test_what_is_periodic_or_fades_has_no_faults() -> None:
    square = np.tile(np.repeat([0.5, -0.5], 32), 3_000)
    fade = np.rint(music() * np.linspace(1, 0, 200_000) ** 4 * 2**15) / 2**15
    gated = np.where(np.arange(200_000) % 20_000 < 5_000, 0.0, music())
    for samples in (square, np.zeros(100_000), fade, gated):
        faults = TransferFaults()
        faults.add(samples.astype(np.float32))
        assert (faults.zeros, faults.repeats) == ([], [])


def test_a_copy_upside_down_is_named(tmp_path: Path) -> None:
    health = {
        name: measured(tmp_path / f"{name}.wav", samples)[0]
        for name, samples in (("Near", music()), ("Other", music(1)), ("Twin", -music()))
    }
    (sentence,) = twin_sentences(health)
    assert sentence.startswith("Twin is Near upside down")


def test_a_tone_that_is_its_own_mirror_is_a_twin_and_not_upside_down(tmp_path: Path) -> None:
    tone = 0.5 * np.sin(2 * np.pi * 1_000 * np.arange(96_000) / RATE_HZ)
    health = {name: measured(tmp_path / f"{name}.wav", tone)[0] for name in ("One", "Two")}
    (sentence,) = twin_sentences(health)
    assert "exactly the same samples" in sentence


@pytest.mark.parametrize("family", FAMILIES)
def test_clean_takes_have_none_of_these(family: str) -> None:
    for index in range(3):
        for lane in scenario(family, index, 700_000).lanes.values():
            samples = np.rint(np.asarray(lane) * 2**15).astype(np.float32) / 2**15
            faults, flats = TransferFaults(), FlatTops(1.0)
            faults.add(samples)
            flats.add(samples, float(np.abs(samples).max()))
            assert (faults.zeros, faults.repeats) == ([], [])
            assert family == "clipped" or flats.count < 3
