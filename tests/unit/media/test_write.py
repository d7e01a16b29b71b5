import errno
import hashlib
import io
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from tests.support.recordings import noise, recording

from lagline.errors import CannotWrite, WouldOverwrite
from lagline.media import write as write_module
from lagline.media.clip import Clip
from lagline.media.probe import probe
from lagline.media.quantise import quantised
from lagline.media.riff import Chunk, read_chunk, read_layout
from lagline.media.write import write_audio, write_bytes

RATE_HZ = 48_000


def in_blocks(samples: np.ndarray, size: int = 1_000) -> list[np.ndarray]:
    return [samples[start : start + size] for start in range(0, len(samples), size)]


@pytest.mark.parametrize("channels", [1, 2, 3, 8])
@pytest.mark.parametrize(
    ("subtype", "file_format"), [("PCM_24", "WAV"), ("FLOAT", "WAV"), ("PCM_24", "FLAC")]
)
def test_what_is_written_is_read_back(tmp_path: Path, channels: int, subtype: str, file_format: str) -> None:
    samples = noise(4_321, channels)
    path = tmp_path / "new folder" / "out"
    written = write_audio(
        path, in_blocks(samples), RATE_HZ, channels, subtype, frames=4_321, file_format=file_format
    )
    read, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    assert rate_hz == RATE_HZ
    assert np.array_equal(read, samples)
    info = probe(path)
    assert (info.subtype, info.format, info.warning) == (
        subtype,
        {"WAV": info.format}.get(file_format, "FLAC"),
        None,
    )
    assert (written.frames, written.clipped_samples) == (4_321, 0)
    assert written.size_bytes == path.stat().st_size
    assert written.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert [entry.name for entry in path.parent.iterdir()] == ["out"]


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24"])
@pytest.mark.parametrize("source_format", ["WAV", "FLAC", "AIFF"])
def test_untouched_samples_come_out_bit_identical(tmp_path: Path, subtype: str, source_format: str) -> None:
    bits = int(subtype[-2:])
    rng = np.random.default_rng(2)
    whole = rng.integers(-(2 ** (bits - 1)), 2 ** (bits - 1), 20_000)
    whole[:2] = -(2 ** (bits - 1)), 2 ** (bits - 1) - 1  # the ends of the range too
    source = tmp_path / f"source.{source_format.lower()}"
    soundfile.write(
        source, (whole << (32 - bits)).astype(np.int32), RATE_HZ, subtype=subtype, format=source_format
    )
    clip = Clip(source, 0)
    out = tmp_path / "out.wav"
    write_audio(out, [clip.read(-7, 0), clip.read(0, 20_000)], RATE_HZ, 1, subtype, frames=20_007)
    read, _ = soundfile.read(out, dtype="int32")
    assert np.array_equal(read[7:] >> (32 - bits), whole)


def test_rounds_to_the_nearest_step_and_counts_what_does_not_fit() -> None:
    step = 2.0**-15
    values = np.array([-1e-9, 0.4 * step, 0.6 * step, -0.6 * step, 1.0, 1.2, -1.0, -1.2])
    whole, clipped = quantised(values, 16)
    assert whole.tolist() == [0, 0, 1, -1, 32_767, 32_767, -32_768, -32_768]
    assert clipped == 3


def test_dither_is_the_same_for_the_same_seed(tmp_path: Path) -> None:
    samples = noise(5_000)

    def made(name: str, seed: int | None) -> bytes:
        write_audio(tmp_path / name, [samples], RATE_HZ, 1, "PCM_16", frames=5_000, dither_seed=seed)
        return (tmp_path / name).read_bytes()

    assert made("a", 1) == made("b", 1)
    assert made("c", 2) != made("a2", 1)
    assert made("d", None) != made("a3", 1)


@pytest.mark.parametrize("frames", [10, 11])
def test_chunks_stand_before_the_audio_and_sizes_are_even(tmp_path: Path, frames: int) -> None:
    path = tmp_path / "out.wav"
    chunks = [Chunk(b"bext", b"b" * 602), Chunk(b"iXML", b"<odd/>\n"), Chunk(b"test", b"x")]
    write_audio(path, [noise(frames)], RATE_HZ, 1, "PCM_24", frames=frames, chunks=chunks)
    layout = read_layout(path)
    assert layout is not None
    assert [place.id for place in layout.chunks] == [b"fmt ", b"bext", b"iXML", b"test", b"data"]
    assert read_chunk(path, layout.chunks[2]) == b"<odd/>\n\n"
    assert read_chunk(path, layout.chunks[3]) == b"x\0"
    assert layout.chunks[-1].claimed_bytes == 3 * frames
    assert path.stat().st_size % 2 == 0
    assert int.from_bytes(path.read_bytes()[4:8], "little") == path.stat().st_size - 8
    assert soundfile.info(path).frames == frames


def test_above_4_gib_the_header_is_rf64(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The same code with a lower limit; the real size is tried in tests/outside."""
    monkeypatch.setattr(write_module, "LARGEST_RIFF_BYTES", 10_000)
    samples = noise(4_000, 2)
    path = tmp_path / "large.wav"
    write_audio(path, [samples], RATE_HZ, 2, "PCM_24", frames=4_000, chunks=[Chunk(b"bext", bytes(602))])
    layout = read_layout(path)
    assert layout is not None
    assert layout.form == "RF64"
    assert [place.id for place in layout.chunks] == [b"ds64", b"fmt ", b"bext", b"data"]
    assert layout.chunks[-1].claimed_bytes == 24_000
    read, _ = soundfile.read(path, dtype="float32")
    assert np.array_equal(read, samples)
    write_audio(tmp_path / "small.wav", [samples[:100]], RATE_HZ, 2, frames=100)
    assert (tmp_path / "small.wav").read_bytes()[:4] == b"RIFF"


class FullDisk(io.FileIO):
    """A file on a disk that runs full after some writes, or refuses at the end."""

    def __init__(self, path: Path, writes: int) -> None:
        super().__init__(path, "w")
        self._left = writes

    def write(self, data: Any, /) -> int:
        if self._left == 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        self._left -= 1
        return super().write(data)


@pytest.mark.parametrize("writes", range(7))
@pytest.mark.parametrize("there_before", [False, True])
def test_disk_full_at_any_write_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, writes: int, there_before: bool
) -> None:
    path = tmp_path / "out.wav"
    if there_before:
        path.write_bytes(b"the old delivery")
    monkeypatch.setattr(write_module, "open_to_write", lambda part: FullDisk(part, writes))
    samples = noise(501)  # odd size: header, 5 blocks of audio, pad byte

    def write() -> None:
        write_audio(path, in_blocks(samples, 101), RATE_HZ, 1, frames=501, overwrite=True)

    with pytest.raises(CannotWrite, match=r"out\.wav could not be written \(No space left"):
        write()
    assert [entry.name for entry in tmp_path.iterdir()] == (["out.wav"] if there_before else [])
    if there_before:
        assert path.read_bytes() == b"the old delivery"


class WrongDisk(io.FileIO):
    """A file on a disk that changes one bit of what it is given."""

    def __init__(self, path: Path) -> None:
        super().__init__(path, "w")
        self._writes = 0

    def write(self, data: Any, /) -> int:
        self._writes += 1
        if self._writes == 3:  # header, then audio
            data = bytes([data[0] ^ 1]) + bytes(data[1:])
        return super().write(data)


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_what_does_not_read_back_as_it_was_written_is_no_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, subtype: str
) -> None:
    monkeypatch.setattr(write_module, "open_to_write", WrongDisk)
    with pytest.raises(CannotWrite, match="does not read back as it was written"):
        write_audio(tmp_path / "out.wav", in_blocks(noise(500), 100), RATE_HZ, 1, subtype, frames=500)
    assert list(tmp_path.iterdir()) == []


def _fail(*_: object, **__: object) -> None:
    raise OSError(errno.EIO, os.strerror(errno.EIO))


@pytest.mark.parametrize("what", ["fsync", "replace"])
def test_failure_at_the_very_end_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    if what == "fsync":
        monkeypatch.setattr(os, "fsync", _fail)
    else:
        monkeypatch.setattr(Path, "replace", _fail)
    with pytest.raises(CannotWrite):
        write_audio(tmp_path / "out.wav", [noise(10)], RATE_HZ, 1, frames=10)
    with pytest.raises(CannotWrite):
        write_bytes(tmp_path / "sheet.csv", b"lane,delay")
    assert list(tmp_path.iterdir()) == []


def test_too_little_space_is_said_beforehand(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Usage:
        free = 1_000_000

    monkeypatch.setattr(write_module.shutil, "disk_usage", lambda _: Usage)
    with pytest.raises(CannotWrite, match="30 MB are needed, 1 MB are free"):
        write_audio(tmp_path / "out.wav", [], RATE_HZ, 1, frames=10_000_000)


def test_never_over_a_source_nor_unasked_over_anything(tmp_path: Path) -> None:
    source = recording(tmp_path / "near.wav", noise(100))
    before = source.read_bytes()
    link = tmp_path / "link.wav"
    link.hardlink_to(source)
    for path in (source, link, tmp_path / "sub" / ".." / "near.wav"):
        (tmp_path / "sub").mkdir(exist_ok=True)
        with pytest.raises(WouldOverwrite, match="own recordings"):
            write_audio(path, [noise(5)], RATE_HZ, 1, frames=5, sources=[source], overwrite=True)
    other = tmp_path / "other.wav"
    other.write_bytes(b"something")
    with pytest.raises(WouldOverwrite, match="already there"):
        write_audio(other, [noise(5)], RATE_HZ, 1, frames=5, sources=[source])
    with pytest.raises(WouldOverwrite):
        write_bytes(tmp_path / "sub", b"a folder is no file", overwrite=True)
    assert source.read_bytes() == before
    write_audio(other, [noise(5)], RATE_HZ, 1, frames=5, sources=[source], overwrite=True)
    assert soundfile.info(other).frames == 5


@pytest.mark.parametrize(
    "call",
    [
        lambda path: write_audio(path, [noise(9)], RATE_HZ, 1, frames=10),
        lambda path: write_audio(path, [noise(10, 2)], RATE_HZ, 1, frames=10),
        lambda path: write_audio(path, [noise(10)], RATE_HZ, 1, "FLOAT", frames=10, file_format="FLAC"),
        lambda path: write_audio(path, [noise(10)], RATE_HZ, 1, "PCM_U8", frames=10),
    ],
)
def test_wrong_calls_leave_nothing(tmp_path: Path, call: Callable[[Path], object]) -> None:
    with pytest.raises(ValueError, match=r"promised|not written"):
        call(tmp_path / "out.wav")
    assert list(tmp_path.iterdir()) == []


def test_interrupted_in_the_middle_leaves_nothing(tmp_path: Path) -> None:
    def blocks() -> Any:
        yield noise(10)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_audio(tmp_path / "out.wav", blocks(), RATE_HZ, 1, frames=20)
    assert list(tmp_path.iterdir()) == []
