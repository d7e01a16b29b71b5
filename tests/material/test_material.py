"""The material's own truth: what it says about a take is what is in the sound, and it says so again."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyroomacoustics
import pytest
import soundfile
from scipy import signal
from tests.material.sounds import modes
from tests.material.space import LEAD, Microphone, Room, Source, delayed, hear, lag, response, warped
from tests.material.take import REPORTING, kinds, make
from tests.material.write import chosen, seeds_of

FS = 48000


def peak_at(x: np.ndarray) -> float:
    """Frame of the highest point, between frames, by 16 times more of them."""
    k = int(np.argmax(np.abs(x)))
    part = signal.resample(x[k - 64 : k + 64], 128 * 16)
    return k - 64 + int(np.argmax(np.abs(part))) / 16


def test_an_impulse_in_a_free_field_lands_where_the_path_says() -> None:
    rng = np.random.default_rng(3)
    y = np.zeros(4000)
    y[100] = 1.0
    source = Source("click", (1.0, 2.0, 1.2), y)
    mics = [Microphone(f"m{k}", (1.0 + 0.713 * k, 2.4, 1.0), polarity=1 - 2 * (k % 2)) for k in range(4)]
    heard = hear(rng, [source], mics, None, FS)
    for mic, x in zip(mics, heard, strict=True):
        assert peak_at(x) == pytest.approx(100 + lag(source.place, mic, FS), abs=0.07)
        assert np.sign(x[np.argmax(np.abs(x))]) == mic.polarity
        away = np.linalg.norm(np.subtract(source.place, mic.place))
        assert np.sqrt(np.sum(x**2)) == pytest.approx(1 / away, rel=0.02)


def test_the_first_sound_of_a_room_is_the_path_and_reflections_are_where_another_library_puts_them() -> None:
    source = Source("click", (1.4, 2.1, 1.2), np.zeros(1))
    mic = Microphone("m", (3.9, 3.3, 1.6))
    h = response(np.random.default_rng(1), source, mic, Room((6.0, 5.0, 3.0), 0.4, order=1), FS)
    other = pyroomacoustics.ShoeBox(
        [6.0, 5.0, 3.0], fs=FS, max_order=1, materials=pyroomacoustics.Material(0.3)
    )
    other.set_sound_speed(343.2)
    other.add_source(list(source.place))
    other.add_microphone(list(mic.place))
    other.compute_rir()
    late = pyroomacoustics.constants.get("frac_delay_length") // 2
    theirs = other.rir[0][0][late:]
    floor = 0.2 * np.max(np.abs(theirs))
    for k in signal.find_peaks(np.abs(theirs), height=floor, distance=20)[0]:
        near = np.abs(h[LEAD + k - 2 : LEAD + k + 3]).max()  # walls that dull come half a frame later
        assert near > 0.35 * abs(theirs[k]) * np.max(np.abs(h)) / np.max(np.abs(theirs))
    assert np.max(np.abs(h[: LEAD + int(lag(source.place, mic, FS)) - 60])) < 1e-3 * np.max(np.abs(h))


@pytest.mark.parametrize("frames", [0.0, 3.25, -7.6, 250.5])
def test_shifting_and_reading_between_frames_agree(frames: float) -> None:
    x = (
        signal.firwin(301, 0.5)
        @ np.lib.stride_tricks.sliding_window_view(np.random.default_rng(2).standard_normal(4300), 301).T
    )
    a, b = delayed(x, frames), warped(x, np.arange(x.size) - frames)
    inner = slice(400, -400)
    assert np.max(np.abs(a[inner] - b[inner])) < 3e-3 * np.max(np.abs(x))


def test_modes_are_the_closed_form() -> None:
    f, d, a = np.array([220.0, 991.0]), np.array([0.5, 0.2]), np.array([1.0 + 0j, 0.3j])
    t = np.arange(3000) / FS
    plain = sum(np.real(a[k] * np.exp((-6.9078 / d[k] + 2j * np.pi * f[k]) * t)) for k in range(2))
    assert np.allclose(modes(f, d, a, 3000, FS), plain, atol=1e-9)


def test_a_take_is_the_same_for_the_same_seed_and_another_for_the_next() -> None:
    a, b, c = (make("trio", "guitar", s) for s in (7, 7, 8))
    for x, y in zip(a.lanes, b.lanes, strict=True):
        assert np.array_equal(x.samples, y.samples)
        assert x.offset == y.offset
    assert not np.array_equal(a.lanes[0].samples[:1000], c.lanes[0].samples[:1000])


FIRSTS = dict(reversed(kinds()))


@pytest.mark.parametrize(
    ("family", "variant"),
    [pytest.param(f, v, id=f"{f}-{v}", marks=() if FIRSTS[f] == v else pytest.mark.slow) for f, v in kinds()],
)
def test_every_kind_of_take_is_whole(family: str, variant: str, tmp_path: Path) -> None:
    take = make(family, variant, 2)
    truth = take.write(tmp_path)
    assert len(take.lanes) >= 2
    assert truth["lanes"][0]["offset_samples"] == 0.0
    assert len({lane.name for lane in take.lanes}) == len(take.lanes)
    for lane, row in zip(take.lanes, truth["lanes"], strict=True):
        read, fs = soundfile.read(tmp_path / row["file"])
        assert (fs, read.size) == (take.fs, row["n"])
        assert np.all(np.isfinite(read))
        assert np.max(np.abs(read)) > 1e-4
        if lane.accept is not None and lane.match:
            assert lane.offset is not None
            assert lane.accept[0] <= lane.offset <= lane.accept[1]
        if not lane.match:
            assert row["offset_samples"] is None
        if lane.own is not None:
            assert truth["sources"][lane.own][row["name"]] == lane.offset


@pytest.mark.parametrize("seed", [1, 4, 10])
def test_the_sound_of_a_clean_clap_starts_as_the_truth_says(seed: int) -> None:
    """First sound of each lane, read off against the anchor's: no estimator in between."""
    take = make("array", "free", seed + (3 - seed % 3) % 3)  # difficulty 1
    level = [np.argmax(np.abs(x.samples) > 0.05 * np.max(np.abs(x.samples))) for x in take.lanes]
    for first, lane in zip(level, take.lanes, strict=True):
        assert lane.offset is not None
        assert first - level[0] == pytest.approx(lane.offset, abs=6)  # it swells for some frames


def test_the_reporting_seeds_are_out_of_reach_of_a_slip(capsys: pytest.CaptureFixture[str]) -> None:
    from tests.material import write

    with pytest.MonkeyPatch.context() as patch, pytest.raises(SystemExit):
        patch.setattr("sys.argv", ["write", "out", "--seeds", f"{REPORTING.start}-{REPORTING.start + 1}"])
        write.main()
    assert "kept for the report" in capsys.readouterr().err


def test_seeds_and_kinds_are_chosen_by_name() -> None:
    assert seeds_of("1-3,7") == [1, 2, 3, 7]
    assert chosen([4], "kit-rare,array") == [("array", "free", 4), ("array", "room", 4), ("kit", "rare", 4)]
