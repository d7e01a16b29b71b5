import pickle
import threading
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.support.recordings import cut_off, noise, recording

from lagline.errors import CacheUnusable, FileMissing
from lagline.media import decoder as decoder_module
from lagline.media.clip import Clip
from lagline.media.decoder import BLOCK_FRAMES, Decoder, shared_decoder


@pytest.mark.parametrize("name", ["take.wav", "take.flac", "take.aiff"])
@given(data=st.data())
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_stretch_is_the_file_with_silence_around_it(
    tmp_path: Path, name: str, data: st.DataObject
) -> None:
    frames = 2 * BLOCK_FRAMES + 777
    path = tmp_path / name
    samples = noise(frames, 3, seed=5)
    if not path.exists():
        recording(path, samples)
    start = data.draw(st.integers(-2_000, frames + 2_000))
    stop = start + data.draw(st.integers(0, frames))
    channel = data.draw(st.integers(0, 2))
    padded = np.pad(samples[:, channel], (2_000, 2 * frames))
    read = Clip(path, channel).read(start, stop)
    assert read.dtype == np.float32
    assert read.shape == (stop - start,)
    assert np.array_equal(read, padded[start + 2_000 : stop + 2_000])


def test_clips_of_one_file_share_one_decoder_and_let_go_of_it(tmp_path: Path) -> None:
    path = recording(tmp_path / "take.wav", noise(1_000, 2))
    left, right = Clip(path, 0), Clip(path, 1)
    left.read(0, 10)
    right.read(0, 10)
    assert left._decoder is right._decoder
    left.close()
    right.close()
    assert not [key for key in decoder_module._open_decoders if key[0] == str(path)]
    assert left.read(0, 1_000).any()  # opens again


def test_memory_stays_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decoder_module, "CACHE_BYTES", 5 * BLOCK_FRAMES * 4)
    path = recording(tmp_path / "long.wav", noise(12 * BLOCK_FRAMES))
    clip = Clip(path, 0)
    clip.read(0, clip.frames)
    assert len(shared_decoder(path)._blocks) == 5


def test_reading_forwards_never_seeks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = recording(tmp_path / "take.flac", noise(4 * BLOCK_FRAMES, 2))
    decoder = Decoder(path)
    seeks: list[int] = []
    seek = soundfile.SoundFile.seek

    def watched(self: soundfile.SoundFile, frames: int, whence: int = soundfile.SEEK_SET) -> int:
        if (frames, whence) != (0, soundfile.SEEK_CUR):  # that one only asks where we are
            seeks.append(frames)
        return int(seek(self, frames, whence))

    monkeypatch.setattr(soundfile.SoundFile, "seek", watched)
    for number in range(4):
        decoder.block(number)
        decoder.block(number)
    assert seeks == []
    decoder._blocks.clear()
    decoder.block(1)
    assert seeks == [BLOCK_FRAMES]


def test_threads_get_the_same_samples(tmp_path: Path) -> None:
    samples = noise(6 * BLOCK_FRAMES, 4, seed=3)
    path = recording(tmp_path / "take.flac", samples)
    clips = [Clip(path, channel) for channel in range(4)]
    wrong: list[int] = []

    def read(channel: int) -> None:
        rng = np.random.default_rng(channel)
        for start in rng.integers(0, len(samples) - 5_000, 60):
            if not np.array_equal(
                clips[channel].read(start, start + 5_000), samples[start : start + 5_000, channel]
            ):
                wrong.append(channel)

    threads = [threading.Thread(target=read, args=(channel,)) for channel in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


def test_pickled_clip_reads_again(tmp_path: Path) -> None:
    path = recording(tmp_path / "take.wav", noise(500, 2))
    clip = Clip(path, 1)
    before = clip.read(0, 500)
    again = pickle.loads(pickle.dumps(clip))
    assert np.array_equal(again.read(0, 500), before)
    assert (again.rate_hz, again.frames) == (48_000, 500)


def test_samples_that_are_no_numbers_become_silence(tmp_path: Path) -> None:
    samples = noise(1_000)
    samples[10], samples[20], samples[30] = np.nan, np.inf, -np.inf
    path = recording(tmp_path / "broken.wav", samples, subtype="FLOAT")
    read = Clip(path, 0).read(0, 1_000)
    assert np.isfinite(read).all()
    assert read[10] == read[20] == read[30] == 0.0
    assert np.array_equal(read[31:], samples[31:, 0])


def test_cut_off_flac_reads_to_where_it_was_cut_then_silence(tmp_path: Path) -> None:
    samples = noise(96_000, 2)
    whole = recording(tmp_path / "whole.flac", samples)
    clip = Clip(cut_off(whole, tmp_path / "cut.flac", 0.6), 1)
    frames = clip.frames
    assert np.array_equal(clip.read(0, frames), samples[:frames, 1])
    assert not clip.read(frames, frames + 5_000).any()
    assert np.array_equal(clip.read(100, 300), samples[100:300, 1])  # still readable after the end was tried


def test_bw64_samples(tmp_path: Path) -> None:
    samples = noise(9_999, 2)
    path = recording(tmp_path / "take.wav", samples, file_format="RF64")
    path.write_bytes(b"BW64" + path.read_bytes()[4:])
    assert np.array_equal(Clip(path, 1).read(0, 9_999), samples[:, 1])


def test_errors_name_the_channel_and_the_file(tmp_path: Path) -> None:
    path = recording(tmp_path / "take.wav", noise(10, 2))
    with pytest.raises(ValueError, match="no channel 3, only 2"):
        Clip(path, 2).read(0, 10)
    with pytest.raises(FileMissing, match=r"gone\.wav"):
        Clip(tmp_path / "gone.wav", 0).read(0, 10)
    with pytest.raises(ValueError, match="ends after it starts"):
        Clip(path, 0).read(5, 4)


@pytest.mark.parametrize(("rate_hz", "wanted_hz"), [(44_100, 48_000), (96_000, 48_000), (48_000, 44_100)])
def test_other_rate_is_converted_in_place_and_time(tmp_path: Path, rate_hz: int, wanted_hz: int) -> None:
    time_s = np.arange(rate_hz) / rate_hz
    tones = np.stack([0.5 * np.sin(2 * np.pi * hz * time_s) for hz in (997.0, 6_000.0)], axis=1)
    path = recording(tmp_path / "tones.wav", tones, rate_hz, "FLOAT")
    for channel, hz in enumerate((997.0, 6_000.0)):
        clip = Clip(path, channel, wanted_hz)
        assert (clip.rate_hz, clip.frames) == (wanted_hz, wanted_hz)
        ideal = 0.5 * np.sin(2 * np.pi * hz * np.arange(wanted_hz) / wanted_hz)
        middle = slice(2_000, wanted_hz - 2_000)  # the tone's own start and stop ring
        error = clip.read(0, clip.frames)[middle] - ideal[middle]
        assert 20 * np.log10(np.abs(error).max()) < -110


def test_conversion_is_made_once(tmp_path: Path, own_cache: Path) -> None:
    path = recording(tmp_path / "take.wav", noise(48_000, 2), 44_100)
    Clip(path, 0, 48_000).read(0, 10)
    (cached,) = own_cache.iterdir()
    before = cached.stat().st_mtime_ns
    inode = cached.stat().st_ino
    Clip(path, 1, 48_000).read(0, 10)
    assert [entry.stat().st_ino for entry in own_cache.iterdir()] == [inode]
    assert cached.stat().st_mtime_ns >= before  # marked as used
    cached.write_bytes(cached.read_bytes()[:1_000])  # a damaged copy is made again
    assert soundfile.info(cached).frames < 1_000
    Clip(path, 1, 48_000).read(0, 10)
    assert soundfile.info(cached).frames == Clip(path, 1, 48_000).frames


def test_conversion_without_room_says_where_and_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = tmp_path / "a file"
    blocked.touch()
    monkeypatch.setenv("LAGLINE_CACHE_DIR", str(blocked))
    path = recording(tmp_path / "take.wav", noise(100), 44_100)
    with pytest.raises(CacheUnusable, match="LAGLINE_CACHE_DIR"):
        Clip(path, 0, 48_000).read(0, 10)
