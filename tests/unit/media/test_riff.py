import struct
from pathlib import Path

import pytest

from lagline.errors import ChangedWhileRead
from lagline.media.riff import Chunk, packed, read_chunk, read_layout


def wave(*chunks: bytes, form: bytes = b"RIFF", size: int | None = None) -> bytes:
    body = b"WAVE" + b"".join(chunks)
    return form + struct.pack("<I", len(body) if size is None else size) + body


def test_a_chunk_of_odd_size_is_padded_and_the_pad_is_not_counted(tmp_path: Path) -> None:
    assert packed(Chunk(b"abcd", b"x")) == b"abcd\x01\0\0\0x\0"
    assert packed(Chunk(b"abcd", b"xy")) == b"abcd\x02\0\0\0xy"
    path = tmp_path / "a.wav"
    path.write_bytes(wave(packed(Chunk(b"odd ", b"123")), packed(Chunk(b"next", b"1234"))))
    layout = read_layout(path)
    assert layout is not None
    assert [(place.id, place.claimed_bytes) for place in layout.chunks] == [(b"odd ", 3), (b"next", 4)]
    assert read_chunk(path, layout.chunks[1]) == b"1234"


def test_a_chunk_that_is_gone_since_the_layout_was_read_is_named(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(wave(packed(Chunk(b"fmt ", bytes(16)))))
    layout = read_layout(path)
    assert layout is not None
    path.write_bytes(b"")
    with pytest.raises(ChangedWhileRead, match=r"a\.wav has changed while it was read"):
        read_chunk(path, layout.chunks[0])


def test_sizes_of_a_large_file_come_from_ds64(tmp_path: Path) -> None:
    table = struct.pack("<4sQ", b"big ", 6)
    ds64 = packed(Chunk(b"ds64", struct.pack("<QQQI", 0, 10, 5, 1) + table))
    big = b"big " + struct.pack("<I", 0xFFFFFFFF) + b"abcdef"
    data = b"data" + struct.pack("<I", 0xFFFFFFFF) + bytes(10)
    path = tmp_path / "a.wav"
    path.write_bytes(wave(ds64, big, data, packed(Chunk(b"tail", b"t")), form=b"RF64", size=0xFFFFFFFF))
    layout = read_layout(path)
    assert layout is not None
    assert layout.form == "RF64"
    assert [(place.id, place.claimed_bytes) for place in layout.chunks[1:]] == [
        (b"big ", 6),
        (b"data", 10),
        (b"tail", 1),
    ]


@pytest.mark.parametrize("keep", range(12, 60, 5))
def test_a_cut_off_file_gives_what_is_there(tmp_path: Path, keep: int) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(wave(packed(Chunk(b"fmt ", bytes(16))), packed(Chunk(b"data", bytes(100))))[:keep])
    layout = read_layout(path)
    assert layout is not None
    assert all(place.present_bytes <= place.claimed_bytes for place in layout.chunks)
    assert all(place.offset + place.present_bytes <= max(keep, place.offset) for place in layout.chunks)


def test_other_files_have_no_layout(tmp_path: Path) -> None:
    for number, data in enumerate((b"", b"RIFF", b"RIFF\0\0\0\0AVI ", b"FORM\0\0\0\0AIFF", b"fLaC" * 9)):
        path = tmp_path / str(number)
        path.write_bytes(data)
        assert read_layout(path) is None


def test_an_id_has_four_bytes() -> None:
    with pytest.raises(ValueError, match="four bytes"):
        packed(Chunk(b"long id", b""))


def test_a_size_beyond_what_a_file_can_be_ends_the_list(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    ds64 = packed(Chunk(b"ds64", struct.pack("<QQQI", 0, 2**64 - 1, 0, 0)))
    path.write_bytes(wave(ds64, b"data\xff\xff\xff\xffabcd", form=b"RF64"))
    layout = read_layout(path)
    assert layout is not None
    assert [(chunk.id, chunk.present_bytes) for chunk in layout.chunks] == [(b"ds64", 28), (b"data", 4)]


def test_a_ds64_that_was_cut_off_says_nothing(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(wave(packed(Chunk(b"ds64", bytes(20))), b"data\xff\xff\xff\xffabcd", form=b"RF64"))
    layout = read_layout(path)
    assert layout is not None
    assert layout.chunks[-1].present_bytes == 4
