import zlib
from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.support.recordings import cut_off, noise, recording

from lagline.errors import Cancelled, NotAudio
from lagline.media import overview as overview_module
from lagline.media import overview_file
from lagline.media.clip import Clip
from lagline.media.overview import FileOverview, Overview, build_all, build_overviews, is_cached


@pytest.mark.parametrize(("name", "channels"), [("take.wav", 1), ("take.wav", 5), ("take.flac", 2)])
def test_overview_is_the_extremes_of_each_bin(tmp_path: Path, name: str, channels: int) -> None:
    samples = noise(200_123, channels, seed=9)
    built = build_overviews(recording(tmp_path / name, samples))
    assert len(built.overviews) == len(built.health) == channels
    for channel, overview in enumerate(built.overviews):
        lows, highs = overview.bins
        bins = np.pad(samples[:, channel], (0, -len(samples) % 64), mode="edge").reshape(-1, 64)
        assert np.array_equal(lows, bins.min(axis=1))
        assert np.array_equal(highs, bins.max(axis=1))
        assert overview.ready_frames == overview.frames == len(samples)


def test_progress_shows_the_overview_as_it_grows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(overview_module, "_REPORT_SAMPLES", 1 << 17)
    monkeypatch.setattr(overview_module, "_PASS_SAMPLES", 1 << 17)
    seen: list[tuple[float, int]] = []

    def look(fraction: float, overviews: tuple[Overview, ...]) -> None:
        seen.append((fraction, overviews[0].ready_frames))

    build_overviews(recording(tmp_path / "take.wav", noise(1_500_000)), progress=look)
    assert seen[0] == (0.0, 0)
    assert seen[-1] == (1.0, 1_500_000)
    assert len(seen) > 5
    assert seen == sorted(seen)


def test_stops_when_asked(tmp_path: Path, own_cache: Path) -> None:
    path = recording(tmp_path / "take.wav", noise(500_000))
    with pytest.raises(Cancelled):
        build_overviews(path, cancelled=lambda: True)
    assert not list(own_cache.glob("*.overview"))


def test_it_is_cached_once_it_was_built_and_until_the_recording_changes(tmp_path: Path) -> None:
    path = recording(tmp_path / "take.wav", noise(10_000))
    assert not is_cached(path)
    build_overviews(path)
    assert is_cached(path)
    recording(path, noise(20_000))
    assert not is_cached(path)
    path.unlink()
    assert not is_cached(path)
    assert not is_cached(tmp_path / ("x" * 300)) and not is_cached(tmp_path / "nul\0in it")


def test_second_time_comes_from_the_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = recording(tmp_path / "take.wav", noise(100_000, 2))
    first = build_overviews(path)
    monkeypatch.setattr(overview_module, "_read_through", None)  # would fail if it were read again
    seen: list[float] = []
    again = build_overviews(path, progress=lambda fraction, _: seen.append(fraction))
    assert again.health == first.health
    assert seen == [1.0]
    for old, new in zip(first.overviews, again.overviews, strict=True):
        for a, b in zip(old.columns(-500, 90_000, 77), new.columns(-500, 90_000, 77), strict=True):
            assert np.array_equal(a, b)


def test_changed_recording_is_read_again(tmp_path: Path) -> None:
    path = recording(tmp_path / "take.wav", noise(10_000, peak=0.25))
    quiet = build_overviews(path).health[0].peak
    recording(path, noise(12_000, peak=0.75))
    assert build_overviews(path).health[0].peak > quiet


@pytest.mark.parametrize("keep", [0, 5, 11, 200, -5, -1])
def test_cut_off_cache_is_noticed(tmp_path: Path, own_cache: Path, keep: int) -> None:
    path = recording(tmp_path / "take.wav", noise(50_000))
    first = build_overviews(path)
    (cached,) = own_cache.glob("*.overview")
    cached.write_bytes(cached.read_bytes()[:keep])
    again = build_overviews(path)
    assert np.array_equal(again.overviews[0].bins[0], first.overviews[0].bins[0])
    assert again.health == first.health


def test_changed_byte_in_the_cache_is_noticed(tmp_path: Path, own_cache: Path) -> None:
    path = recording(tmp_path / "take.wav", noise(50_000))
    first = build_overviews(path)
    (cached,) = own_cache.glob("*.overview")
    data = bytearray(cached.read_bytes())
    data[len(data) // 2] ^= 0x40
    cached.write_bytes(data)
    assert np.array_equal(build_overviews(path).overviews[0].bins[1], first.overviews[0].bins[1])


def test_no_room_for_the_cache_does_no_harm(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    blocked = tmp_path / "a file"
    blocked.touch()
    monkeypatch.setenv("LAGLINE_CACHE_DIR", str(blocked))
    assert build_overviews(recording(tmp_path / "take.wav", noise(1_000))).overviews[0].frames == 1_000
    assert "take.wav" in caplog.text


def test_several_files_and_a_bad_one(tmp_path: Path) -> None:
    good = [recording(tmp_path / f"{n}.wav", noise(30_000, seed=n)) for n in range(3)]
    bad = tmp_path / "bad.wav"
    bad.write_bytes(b"not a recording at all")
    results = build_all([*good, bad, good[0]])
    assert isinstance(results[bad], NotAudio)
    assert [isinstance(results[path], FileOverview) for path in good] == [True] * 3


def test_cut_off_flac_is_drawn_as_far_as_it_goes(tmp_path: Path) -> None:
    whole = recording(tmp_path / "whole.flac", noise(96_000))
    built = build_overviews(cut_off(whole, tmp_path / "cut.flac", 0.6))
    assert built.info.warning is not None
    assert built.overviews[0].frames == built.info.frames
    assert built.health[0].damaged_samples == 0  # what is missing at the end is said by the warning


def test_floats_far_beyond_full_scale_are_damage(tmp_path: Path) -> None:
    """Their squares would overflow every sum they are in."""
    samples = noise(5_000, 2, seed=3).astype(np.float32)
    samples[700, 1], samples[800, 1] = 1e30, -np.inf
    path = tmp_path / "take.wav"
    soundfile.write(path, samples, 48_000, subtype="FLOAT")
    built = build_overviews(path)
    assert [health.broken_samples for health in built.health] == [0, 2]
    assert built.health[1].peak < 1.5
    read = Clip(path, 1).read(690, 810)
    assert read[10] == read[110] == 0.0
    assert np.array_equal(read[:10], samples[690:700, 1])


@pytest.mark.parametrize(
    "header", [b"{}", b'{"frames":9000,"bin_samples":0,"health":[{"frames":1,"rate_hz":1}]}']
)
@pytest.mark.parametrize("rest", [b"", b"\0\0\0", bytes(4)])
def test_a_cache_file_with_a_right_checksum_and_nonsense_in_it_is_not_used(
    tmp_path: Path, header: bytes, rest: bytes
) -> None:
    path = tmp_path / "x.overview"
    for text in (header, header[:-1] + b"\xb6"):
        data = overview_file.MAGIC + len(text).to_bytes(4, "little") + text + rest
        path.write_bytes(data + zlib.crc32(data).to_bytes(4, "little"))
        assert overview_file.load(path, 9_000, 1) is None
