import os
from pathlib import Path

import pytest
from tests.support.recordings import cut_off, noise, recording

from lagline.errors import EmptyRecording, FileMissing, MediaError, NoPermission, NotAFile, NotAudio
from lagline.media.probe import probe

FORMATS = [
    ("take.wav", "WAV", "PCM_16", 16),
    ("take.wav", "WAV", "PCM_24", 24),
    ("take.wav", "WAV", "PCM_32", 32),
    ("take.wav", "WAV", "FLOAT", 32),
    ("take.aiff", "AIFF", "PCM_24", 24),
    ("take.flac", "FLAC", "PCM_24", 24),
    ("take.caf", "CAF", "PCM_24", 24),
    ("take.w64", "W64", "PCM_24", 24),
    ("take.rf64", "RF64", "PCM_24", 24),
    ("take.ogg", "OGG", "VORBIS", None),
]


@pytest.mark.parametrize(("name", "file_format", "subtype", "bits"), FORMATS)
def test_header_of_each_format(
    tmp_path: Path, name: str, file_format: str, subtype: str, bits: int | None
) -> None:
    path = recording(tmp_path / name, noise(4_801, 2), 44_100, subtype, file_format)
    info = probe(path)
    assert (info.format, info.subtype, info.bits) == (file_format, subtype, bits)
    assert (info.rate_hz, info.channels, info.frames) == (44_100, 2, 4_801)
    assert info.size_bytes == path.stat().st_size
    assert info.duration_s == pytest.approx(4_801 / 44_100)
    assert info.warning is None
    assert info.time_reference is None


def test_odd_sized_data_is_not_called_cut_off(tmp_path: Path) -> None:
    assert probe(recording(tmp_path / "odd.wav", noise(333))).warning is None


@pytest.mark.parametrize("name", ["take.wav", "take.aiff", "take.w64", "take.rf64"])
def test_cut_off_file_gives_what_is_there_and_a_warning(tmp_path: Path, name: str) -> None:
    file_format = name.rsplit(".", 1)[1].upper()
    whole = recording(tmp_path / "whole", noise(48_000), 48_000, "PCM_24", file_format)
    info = probe(cut_off(whole, tmp_path / name, 0.5))
    assert 23_900 < info.frames < 24_001
    assert info.warning is not None
    assert name in info.warning
    assert "0.50 s" in info.warning  # what is missing
    assert "again" in info.warning  # what to do


def test_cut_off_flac_gives_what_can_be_decoded(tmp_path: Path) -> None:
    whole = recording(tmp_path / "whole.flac", noise(96_000, 2))
    info = probe(cut_off(whole, tmp_path / "cut.flac", 0.6))
    assert 48_000 < info.frames <= 57_600
    assert info.warning is not None


def test_bw64_is_read_and_its_file_left_alone(tmp_path: Path) -> None:
    path = recording(tmp_path / "take.wav", noise(5_000, 2), 48_000, "PCM_24", "RF64")
    data = path.read_bytes()
    path.write_bytes(b"BW64" + data[4:])
    info = probe(path)
    assert (info.format, info.frames, info.channels) == ("BW64", 5_000, 2)
    assert path.read_bytes()[:4] == b"BW64"


def test_what_is_no_recording_is_refused_by_name(tmp_path: Path) -> None:
    text = tmp_path / "notes.txt"
    text.write_text("bring the other microphone")
    junk = tmp_path / "junk.wav"
    junk.write_bytes(bytes(range(256)) * 20)
    empty = tmp_path / "empty.wav"
    empty.touch()
    header = recording(tmp_path / "header.wav", noise(100))
    unfinished = cut_off(header, tmp_path / "unfinished.wav", 30 / header.stat().st_size)
    silent = recording(tmp_path / "no_frames.wav", noise(0))
    for path, kind in [
        (text, NotAudio),
        (junk, NotAudio),
        (empty, EmptyRecording),
        (unfinished, NotAudio),
        (silent, EmptyRecording),
        (tmp_path, NotAFile),
        (tmp_path / "gone.wav", FileMissing),
        (text / "inside.wav", FileMissing),
    ]:
        with pytest.raises(MediaError) as caught:
            probe(path)
        assert type(caught.value) is kind, path.name
        assert path.name in str(caught.value)


def test_no_permission_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = recording(tmp_path / "locked.wav", noise(100))

    def refuse(name: str, *_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", name)

    monkeypatch.setattr(os, "open", refuse)  # file modes do not stop the administrator
    with pytest.raises(NoPermission, match=r"locked\.wav"):
        probe(path)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="file modes do not bind root")
def test_no_permission_by_file_mode(tmp_path: Path) -> None:
    path = recording(tmp_path / "locked.wav", noise(100))
    path.chmod(0)
    with pytest.raises(NoPermission):
        probe(path)


def test_an_unfinished_recording_that_begins_with_silence_is_read_to_its_end(tmp_path: Path) -> None:
    sound = noise(48_000)
    sound[:4800] = 0.0
    path = recording(tmp_path / "crashed.wav", sound, subtype="PCM_16")
    data = bytearray(path.read_bytes())
    at = data.index(b"data")
    data[at + 4 : at + 8] = bytes(4)  # as a recorder leaves it that died before it wrote the length
    path.write_bytes(data)
    assert probe(path).frames == 48_000
