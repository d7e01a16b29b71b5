"""The demo takes are what the generator makes, and their tables of truth are true."""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile
from tests.support import demo

from lagline.session.storage import load
from lagline.units import metres_to_samples

LARGEST_BYTES = 6_000_000


def test_they_stay_small() -> None:
    kept = [path for path in demo.FOLDER.rglob("*") if path.is_file() and "__pycache__" not in path.parts]
    assert sum(path.stat().st_size for path in kept) < LARGEST_BYTES


@pytest.mark.parametrize("take", demo.TAKES)
def test_the_generator_makes_the_stored_lanes_again(take: str) -> None:
    """A short excerpt: everything in it is causal, so what follows later changes nothing."""
    maker = demo.make_demo.TAKES[take]
    frames = 48_000 * 5 // 4
    made = demo.scene.render(maker.SCENE, maker.sounds(frames), frames)
    sure = frames - 200  # the microphones' symmetrical response looks a little ahead
    for lane, signal in made.items():
        stored = demo.samples(take, lane)[:sure].astype(int)
        assert np.ptp(stored) > 200, "the excerpt holds no sound"
        assert np.abs(signal[:sure] - stored).max() <= 1, lane


@pytest.mark.parametrize("take", demo.TAKES)
def test_the_table_follows_from_the_places(take: str) -> None:
    table = demo.truth(take)
    places = {instrument["name"]: instrument["place_m"] for instrument in table["instruments"]}
    by_name = {lane["name"]: lane for lane in table["lanes"]}
    anchor = by_name[table["anchor"]]
    for lane in table["lanes"]:
        source = places[lane["follows"]]
        way_m = 0.0 if lane["place_m"] is None else math.dist(source, lane["place_m"])
        anchor_m = math.dist(source, anchor["place_m"])
        air = metres_to_samples(way_m - anchor_m, table["rate_hz"], table["temperature_c"])
        expected = air + lane["latency_samples"] - anchor["latency_samples"]
        assert lane["arrival_samples"] == pytest.approx(expected, abs=1e-5)
        assert lane["arrival_samples"] <= 0.0, "the anchor hears the source last"
    assert sorted(lane["polarity"] for lane in table["lanes"])[:2] == [-1, 1]


@pytest.mark.parametrize("take", demo.TAKES)
def test_the_session_opens_with_the_lanes_of_the_table(take: str) -> None:
    session, table = load(demo.FOLDER / take / f"{take}.lagline"), demo.truth(take)
    assert [lane.name for lane in session.lanes] == [lane["name"] for lane in table["lanes"]]
    assert session.rate_hz == table["rate_hz"]
    assert session.temperature_c == table["temperature_c"]
    for lane in session.lanes:
        info = soundfile.info(lane.source.path)
        assert (info.frames, info.samplerate) == (lane.source.frames, lane.source.rate_hz)
        assert lane.source.size_bytes == lane.source.path.stat().st_size
        assert lane.source.path.parent == demo.FOLDER / take


@pytest.mark.parametrize("take", demo.TAKES)
def test_levels_are_safe_and_sane(take: str) -> None:
    for lane in demo.truth(take)["lanes"]:
        signal = demo.samples(take, lane["name"]) / 32768
        peak_dbfs = 20 * np.log10(np.abs(signal).max())
        assert -16 < peak_dbfs < -6, (lane["name"], peak_dbfs)
        assert abs(signal.mean()) < 1e-4
        assert 1e-5 < signal[:12_000].std() < 1e-3, "before the first sound there is only hiss and hum"
        assert np.abs(signal[-4800:]).max() < 0.02, "it ends in the last of the reverberation"


def phase_transform(late: np.ndarray, early: np.ndarray) -> tuple[float, int]:
    """Delay of `late` in samples and its sign: averaged cross-spectrum, whitened from 300 Hz to 9 kHz."""
    size, finer = 32_768, 16
    window = np.hanning(size)
    total = np.zeros(size + 1, dtype=complex)
    for start in range(0, len(late) - size, size // 2):
        pair = [np.fft.rfft(x[start : start + size] * window, 2 * size) for x in (late, early)]
        total += pair[0] * pair[1].conj() / np.sqrt(np.prod([np.sum(np.abs(x) ** 2) for x in pair]))
    hz = np.fft.rfftfreq(2 * size, 1 / 48_000)
    curve = np.fft.irfft(np.where((hz > 300) & (hz < 9000), total / np.abs(total), 0), 2 * size * finer)
    peak = int(np.argmax(np.abs(curve)))
    lag = peak if peak < len(curve) // 2 else peak - len(curve)
    return lag / finer, int(np.sign(curve[peak]))


@pytest.mark.parametrize(
    ("take", "lanes"),
    [
        ("chapel", ("near_left", "near_right", "pickup")),
        ("kit", ("snare", "overhead_left", "overhead_right")),
    ],
)
def test_a_plain_phase_transform_finds_the_truth(take: str, lanes: tuple[str, ...]) -> None:
    """Knapp & Carter (1976); rooms leave it some tenths of a sample from the direct sound."""
    table = demo.truth(take)
    by_name = {lane["name"]: lane for lane in table["lanes"]}
    anchor = demo.samples(take, table["anchor"]) / 32768
    for lane in lanes:
        arrival, polarity = phase_transform(demo.samples(take, lane) / 32768, anchor)
        assert arrival == pytest.approx(by_name[lane]["arrival_samples"], abs=0.7), lane
        assert polarity == by_name[lane]["polarity"], lane


@pytest.mark.slow
def test_the_second_recorder_starts_late_and_drifts_as_its_table_says() -> None:
    maker = demo.make_demo.TAKES["two_recorders"]
    table = demo.scene.truth(maker.SCENE)
    frames = 48_000 * 15
    made = demo.scene.render(maker.SCENE, maker.sounds(frames), frames)
    gallery = next(lane for lane in table["lanes"] if lane["name"] == "gallery")
    assert (gallery["starts_s"], gallery["drift_ppm"]) == (2.4, 38.0)
    stage, late = made["stage"] / 32768, made["gallery"] / 32768
    whole = round(gallery["arrival_samples"])
    for start_s, stop_s in ((4.0, 7.0), (9.0, 12.0)):
        first, last = int(start_s * 48_000), int(stop_s * 48_000)
        left, polarity = phase_transform(late[first + whole : last + whole], stage[first:last])
        drifted = 0.5 * (first + last) * 1e-6 * gallery["drift_ppm"]
        assert whole + left == pytest.approx(gallery["arrival_samples"] + drifted, abs=1.0)
        assert polarity == 1
