import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from lagline.media.bext import FIXED_BYTES, Bext, ascii_only, pack_bext, parse_bext

levels = st.none() | st.integers(-9_999, 9_999).map(lambda hundredths: hundredths / 100)
plain = st.text(st.characters(min_codepoint=33, max_codepoint=126), max_size=30)


@given(
    description=plain,
    originator=plain,
    time_reference=st.integers(0, 2**64 - 1),
    loudness=levels,
    true_peak=levels,
    history=plain,
)
def test_packed_and_parsed_is_the_same(
    description: str,
    originator: str,
    time_reference: int,
    loudness: float | None,
    true_peak: float | None,
    history: str,
) -> None:
    bext = Bext(
        description=description,
        originator=originator,
        date="2026-11-25",
        time="10-11-12",
        time_reference=time_reference,
        loudness_lufs=loudness,
        max_true_peak_dbtp=true_peak,
        coding_history=history,
    )
    assert parse_bext(pack_bext(bext)) == bext


def test_version_1_says_nothing_of_loudness_and_version_0_nothing_of_umid() -> None:
    data = bytearray(pack_bext(Bext(time_reference=7, loudness_lufs=-23.0, umid=b"u" * 64)))
    struct.pack_into("<H", data, 346, 1)
    first = parse_bext(bytes(data))
    assert first is not None
    assert (first.time_reference, first.loudness_lufs, first.umid) == (7, None, b"u" * 64)
    struct.pack_into("<H", data, 346, 0)
    oldest = parse_bext(bytes(data))
    assert oldest is not None
    assert oldest.umid == bytes(64)


def test_cut_off_chunks() -> None:
    data = pack_bext(Bext(time_reference=2**33, coding_history="A=PCM"))
    assert parse_bext(data[:347]) is None
    short = parse_bext(data[:400])  # some old writers end after the UMID
    assert short is not None
    assert short.time_reference == 2**33


def test_texts_too_long_are_cut_and_new_ones_keep_to_ascii() -> None:
    data = pack_bext(Bext(description="x" * 300, originator=ascii_only("Ünder the gröve" * 5)))
    assert len(data) == FIXED_BYTES
    parsed = parse_bext(data)
    assert parsed is not None
    assert parsed.description == "x" * 256
    assert parsed.originator == "?nder the gr?ve?nder the gr?ve?n"


@pytest.mark.parametrize("text", ["Täke  ".encode(), "Täke".encode("latin-1"), b"\xff\xfe odd"])
def test_texts_are_written_as_they_were_read_byte_for_byte(text: bytes) -> None:
    data = bytearray(pack_bext(Bext()))
    data[: len(text)] = data[256 : 256 + len(text)] = text
    data += text
    bext = parse_bext(bytes(data))
    assert bext is not None
    assert pack_bext(bext) == data


def test_history_lines_end_as_the_standard_asks() -> None:
    bext = Bext(coding_history="A=PCM,F=48000").with_history("A=PCM,F=48000,W=24,T=Lagline")
    assert bext.coding_history == "A=PCM,F=48000\r\nA=PCM,F=48000,W=24,T=Lagline\r\n"
    assert replace(bext, coding_history="").with_history("x").coding_history == "x\r\n"


@pytest.mark.parametrize("time_reference", [-1, 2**64])
def test_impossible_time_reference(time_reference: int) -> None:
    with pytest.raises(ValueError, match="midnight"):
        pack_bext(Bext(time_reference=time_reference))
