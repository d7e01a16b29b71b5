import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.support.recordings import FloatArray, cut_off, noise, recording

from lagline.media.decoder import Decoder, open_sound
from lagline.media.pcm import PcmSound, open_pcm
from lagline.media.probe import probe
from lagline.media.riff import Chunk, packed, read_layout

RATE_HZ = 48_000


def ours(path: Path) -> PcmSound:
    layout = read_layout(path)
    assert layout is not None
    sound = open_pcm(path, layout)
    assert sound is not None
    return sound


def all_of(sound: PcmSound, block: int = 777) -> FloatArray:
    parts = []
    buffer = np.empty((block, sound.channels), np.float32)
    while read := sound.read_into(buffer):
        parts.append(buffer[:read].copy())
    return np.concatenate(parts)


@pytest.mark.parametrize("file_format", ["WAV", "WAVEX", "RF64"])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "PCM_32", "FLOAT"])
@pytest.mark.parametrize("channels", [1, 3])
def test_the_samples_are_those_of_libsndfile(
    tmp_path: Path, file_format: str, subtype: str, channels: int
) -> None:
    path = tmp_path / "take.wav"
    rng = np.random.default_rng(3)
    whole = rng.integers(-(2**31), 2**31, (5_001, channels)).astype(np.int32)
    whole[:3] = [[-(2**31)], [2**31 - 1], [0]]
    data = whole if subtype != "FLOAT" else (whole / 2**30).astype(np.float32)
    soundfile.write(path, data, RATE_HZ, format=file_format, subtype=subtype)
    expected, _ = soundfile.read(path, dtype="float32", always_2d=True)
    with ours(path) as sound:
        assert (sound.subtype, sound.channels, sound.samplerate) == (subtype, channels, RATE_HZ)
        assert sound.frames == len(expected)
        assert np.array_equal(all_of(sound), expected)
        sound.seek(4_000)
        assert np.array_equal(all_of(sound), expected[4_000:])
        sound.seek(99_999)
        assert sound.read_into(np.empty((1, channels), np.float32)) == 0


@pytest.mark.parametrize("form", [b"RF64", b"BW64"])
def test_odd_chunk_before_the_audio_of_a_large_file(tmp_path: Path, form: bytes) -> None:
    """libsndfile 1.2.2 opens neither: it does not skip the pad byte in RF64, and does not know BW64."""
    samples = noise(3_000, 2)
    plain = recording(tmp_path / "plain.wav", samples, file_format="RF64")
    data = bytearray(plain.read_bytes())
    data[:4] = form
    at = data.index(b"data", 12 + 36)
    data[at:at] = packed(Chunk(b"iXML", b"<odd/>\n"))
    path = tmp_path / "odd.wav"
    path.write_bytes(data)
    with pytest.raises(soundfile.LibsndfileError):
        soundfile.info(path)
    assert np.array_equal(Decoder(path).block(0), samples.T)
    assert probe(path).format == form.decode()


def test_a_file_that_shrinks_while_it_is_read_ends_early(tmp_path: Path) -> None:
    path = recording(tmp_path / "take.wav", noise(10_000))
    with ours(path) as sound:
        cut_off(path, path, 0.5)
        buffer = np.empty((10_000, 1), np.float32)
        assert sound.read_into(buffer) == (path.stat().st_size - 44) // 3
        assert sound.read_into(buffer) == 0


def test_other_formats_are_left_to_libsndfile(tmp_path: Path) -> None:
    for subtype in ("PCM_U8", "DOUBLE", "ULAW", "IMA_ADPCM"):
        path = tmp_path / f"{subtype}.wav"
        soundfile.write(path, noise(1_000), RATE_HZ, subtype=subtype)
        with open_sound(path) as sound:
            assert not isinstance(sound, PcmSound)
        assert probe(path).subtype == subtype
    flac = recording(tmp_path / "take.flac", noise(1_000))
    with open_sound(flac) as sound:
        assert not isinstance(sound, PcmSound)


def test_a_recorder_that_died_before_it_wrote_the_length(tmp_path: Path) -> None:
    """Data size 0 in the header, audio behind it: read to the end of the file."""
    samples = noise(2_000)
    path = recording(tmp_path / "take.wav", samples)
    data = bytearray(path.read_bytes())
    struct.pack_into("<I", data, 40, 0)
    path.write_bytes(data)
    info = probe(path)
    assert info.frames == 2_000
    assert info.warning is not None
    assert "never closed" in info.warning
    assert np.array_equal(Decoder(path).block(0)[0], samples[:, 0])
    struct.pack_into("<I", data, 40, 0xFFFFFFFF)
    path.write_bytes(data)
    assert probe(path).frames == 2_000
