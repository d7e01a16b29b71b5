from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from tests.support.recordings import noise, recording

from lagline.media.health import Health, Remark, remarks, sentences, twin_sentences
from lagline.media.overview import build_overviews
from lagline.media.probe import probe

RATE_HZ = 48_000


def measured(path: Path, samples: npt.NDArray[np.floating], subtype: str = "PCM_24") -> Health:
    return build_overviews(recording(path, samples, RATE_HZ, subtype)).health[0]


def said(path: Path) -> str:
    built = build_overviews(path)
    return " ".join(sentences("Room", built.info, built.health[0]))


def test_a_clean_recording_has_nothing_to_say(tmp_path: Path) -> None:
    path = recording(tmp_path / "take.wav", noise(100_000))
    assert said(path) == ""


def test_level_peak_and_offset(tmp_path: Path) -> None:
    samples = noise(200_000) + np.float32(0.01)
    health = measured(tmp_path / "take.wav", samples)
    assert health.peak == np.abs(samples).max()
    assert health.offset == pytest.approx(samples.mean(dtype=np.float64), abs=1e-7)
    assert health.rms == pytest.approx(np.sqrt(np.square(samples, dtype=np.float64).mean()), rel=1e-5)
    assert "constant offset of +1.0 %" in said(tmp_path / "take.wav")


@pytest.mark.parametrize("at", [5, 131_072 - 4, 131_072 - 7, 299_980])
def test_clipped_runs_are_counted_once_wherever_they_lie(tmp_path: Path, at: int) -> None:
    samples = noise(300_000)
    samples[at : at + 8] = 1.0  # eight in a row; may cross the border of two blocks of the pass
    samples[1_000:1_002] = -1.0  # two are not yet clipping
    samples[2_000:2_003] = -1.0
    health = measured(tmp_path / "take.wav", samples)
    assert (health.clipped_runs, health.longest_clipped_samples) == (2, 8)
    assert "clipped in 2 places" in said(tmp_path / "take.wav")


def test_clipping_over_several_blocks_is_one_run(tmp_path: Path) -> None:
    samples = noise(600_000)
    samples[100_000:500_000] = 1.0
    health = measured(tmp_path / "take.wav", samples)
    assert (health.clipped_runs, health.longest_clipped_samples) == (1, 400_000)


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24"])
def test_bits_really_used(tmp_path: Path, subtype: str) -> None:
    samples = np.rint(noise(50_000) * 2**11) / 2**11  # 12 bits
    health = measured(tmp_path / "take.wav", samples, subtype)
    assert health.bits_used == 12
    assert f"stored with {subtype[-2:]} bits but uses 12" in said(tmp_path / "take.wav")
    assert measured(tmp_path / "full.wav", noise(50_000), subtype).bits_used == int(subtype[-2:])


def test_silence(tmp_path: Path) -> None:
    assert measured(tmp_path / "zero.wav", np.zeros(10_000)).is_silent
    assert "digital silence" in said(tmp_path / "zero.wav")
    assert measured(tmp_path / "hiss.wav", noise(10_000, peak=1e-4)).is_silent
    assert "as good as silent" in said(tmp_path / "hiss.wav")
    recording(tmp_path / "low.wav", noise(10_000, peak=0.005))
    assert "very low" in said(tmp_path / "low.wav")


def test_gaps_in_the_middle_but_not_pauses_or_fades(tmp_path: Path) -> None:
    samples = noise(5 * RATE_HZ)
    samples[: RATE_HZ // 2] = 0.0
    samples[2 * RATE_HZ : 2 * RATE_HZ + 480] = 0.0  # 10 ms
    samples[3 * RATE_HZ : 4 * RATE_HZ] = 0.0  # a pause
    health = measured(tmp_path / "take.wav", samples)
    assert health.gaps == 1
    assert health.first_gap_s == pytest.approx(2.0, abs=0.002)
    assert "drops to exact zeros in 1 place, first at 2.00 s" in said(tmp_path / "take.wav")


def test_broken_samples_are_counted_and_the_rest_measured(tmp_path: Path) -> None:
    samples = noise(20_000)
    samples[7], samples[9_999] = np.nan, np.inf
    health = measured(tmp_path / "take.wav", samples, "FLOAT")
    assert health.broken_samples == 2
    assert health.peak < 0.51
    assert "2 samples without a valid value" in said(tmp_path / "take.wav")


@pytest.mark.parametrize("mains_hz", [50.03, 59.95])
def test_mains_hum_is_named(tmp_path: Path, mains_hz: float) -> None:
    time_s = np.arange(12 * RATE_HZ) / RATE_HZ
    multiples = (1, 2, 3, 5)
    tones = sum(0.002 / n * np.sin(2 * np.pi * n * mains_hz * time_s + n) for n in multiples)
    music = noise(12 * RATE_HZ)[:, 0] * (time_s % 4 < 2)
    health = measured(tmp_path / "take.wav", tones + music + noise(12 * RATE_HZ, seed=3, peak=1e-3)[:, 0])
    assert health.hum_hz == round(mains_hz)
    assert health.hum_db == pytest.approx(20 * np.log10(0.002) + 1.7, abs=1.0)
    assert f"{round(mains_hz)} Hz" in said(tmp_path / "take.wav")


@pytest.mark.parametrize(
    "tone_hz", [48.99943, 61.73541, 55.0]
)  # G1, B1, A1 at A4 = 440 Hz, equal temperament
def test_a_bass_note_is_not_hum(tmp_path: Path, tone_hz: float) -> None:
    time_s = np.arange(10 * RATE_HZ) / RATE_HZ
    note = sum(0.1 / n * np.sin(2 * np.pi * n * tone_hz * time_s) for n in range(1, 9))
    assert measured(tmp_path / "take.wav", note + noise(len(time_s), peak=1e-3)[:, 0]).hum_hz is None


def test_same_samples_in_two_lanes_are_named(tmp_path: Path) -> None:
    samples = noise(50_000)
    other = samples.copy()
    other[25_000] += np.float32(2**-23)
    healths = {
        "Near": measured(tmp_path / "a.wav", samples),
        "Far": measured(tmp_path / "b.wav", noise(50_000, seed=8)),
        "Copy": measured(tmp_path / "c.flac", samples),
        "Almost": measured(tmp_path / "d.wav", other),
        "Empty": measured(tmp_path / "e.wav", np.zeros(100)),
        "Empty too": measured(tmp_path / "f.wav", np.zeros(100)),
    }
    (sentence,) = twin_sentences(healths)
    assert sentence.startswith("Near and Copy hold exactly the same samples.")


def test_lossy_and_cut_off_files_are_said(tmp_path: Path) -> None:
    assert "stored with loss (OGG)" in said(recording(tmp_path / "take.ogg", noise(20_000), subtype="VORBIS"))
    whole = recording(tmp_path / "whole.wav", noise(20_000))
    cut = tmp_path / "cut.wav"
    cut.write_bytes(whole.read_bytes()[:30_000])
    built = build_overviews(cut)
    found = remarks("Room", built.info, built.health[0])
    assert found[0] == Remark("problem", probe(cut).warning or "")


def test_damage_inside_a_flac_is_said_and_the_rest_kept(tmp_path: Path) -> None:
    samples = noise(20 * 32_768)
    path = recording(tmp_path / "take.flac", samples)
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 3_000] = bytes(3_000)
    path.write_bytes(data)
    built = build_overviews(path)
    health = built.health[0]
    assert 0 < health.damaged_samples < 3 * 32_768
    assert "cannot be decoded around" in said(path)
    lows, highs = built.overviews[0].bins
    assert lows[-100:].min() < -0.4  # what lies behind the damage is there
    assert highs[:100].max() > 0.4
