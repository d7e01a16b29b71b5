"""What comes along with a lane's audio, from WAV files and from FLAC files that keep a WAV file's chunks."""

import struct
from pathlib import Path

import pytest
from tests.support.recordings import noise

from lagline.media.bext import Bext, pack_bext
from lagline.media.carry import Carried, read_carried, retimed_chunks
from lagline.media.probe import probe
from lagline.media.riff import Chunk
from lagline.media.write import write_audio

BEXT = Bext(description="Täke", time_reference=4_800)
UNKNOWN = Chunk(b"abcd", b"anything\x00\xff")
INFO = Chunk(b"LIST", b"INFOIART\x08\0\0\0Nobody\0\0")
EXIF = Chunk(b"LIST", b"exifever4\0\0\0" + b"0220")
ADM = (Chunk(b"axml", b"<ebuCoreMain/>"), Chunk(b"chna", bytes(44)))
SMPL = Chunk(b"smpl", struct.pack("<9I", *[0] * 7, 1, 0) + struct.pack("<6I", 0, 0, 10, 20, 0, 0))


def written(path: Path, channels: int, *more: Chunk) -> Path:
    chunks = [Chunk(b"bext", pack_bext(BEXT)), UNKNOWN, INFO, EXIF, *ADM, SMPL, *more]
    write_audio(
        path, [noise(1_000, channels)], 48_000, channels, frames=1_000, chunks=chunks,
        file_format=path.suffix[1:].upper(),
    )  # fmt: skip
    return path


def later_by_5(carried: Carried) -> tuple[Chunk, ...]:
    return retimed_chunks(
        carried, channels=[0], rate_hz=48_000, wanted_hz=48_000, later_samples=5, frames=1_100, bits=24,
        time_reference=0,
    )  # fmt: skip


@pytest.mark.parametrize("suffix", ["wav", "flac"])
def test_what_nobody_here_knows_comes_along_byte_for_byte(tmp_path: Path, suffix: str) -> None:
    path = written(tmp_path / f"a.{suffix}", 1, Chunk(b"JUNK", bytes(10)), Chunk(b"PEAK", bytes(16)))
    carried = read_carried(path)
    assert carried.bext == BEXT
    *others, loops = later_by_5(carried)
    assert others == [UNKNOWN, INFO, EXIF, *ADM]
    assert struct.unpack_from("<II", loops.data, 44) == (15, 25)


def test_what_names_all_tracks_of_a_file_is_not_true_of_one(tmp_path: Path) -> None:
    *others, _loops = later_by_5(read_carried(written(tmp_path / "a.wav", 2)))
    assert others == [UNKNOWN, INFO, EXIF]


def test_a_flac_file_gives_its_time_stamp_back(tmp_path: Path) -> None:
    assert probe(written(tmp_path / "a.flac", 1)).time_reference == 4_800


@pytest.mark.parametrize("damage", [b"riff", b"abcd"])
def test_a_kept_chunk_that_is_damaged_is_passed_over(tmp_path: Path, damage: bytes) -> None:
    path = written(tmp_path / "a.flac", 1)
    data = bytearray(path.read_bytes())
    at = data.index(b"riffabcd") + (0 if damage == b"riff" else 8)
    data[at : at + 4] = b"\xff\xff\xff\xff"  # another program's block; a size beyond the block's end
    path.write_bytes(data)
    assert later_by_5(read_carried(path))[0] == INFO
