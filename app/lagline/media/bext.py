"""The broadcast extension chunk ("bext") of EBU Tech 3285, versions 0 to 2.

Offsets: Description 0, Originator 256, OriginatorReference 288, OriginationDate 320, OriginationTime
330, TimeReference 338 (64 bits, low word first), Version 346, UMID 348, loudness 412 to 421,
reserved up to 602, then CodingHistory.
"""

from __future__ import annotations

import math
import struct

from msgspec import Struct
from msgspec.structs import replace

_FIXED = struct.Struct("<256s32s32s10s8sQH64s5h180s")
FIXED_BYTES = 602
NOT_MEASURED = 0x7FFF  # a loudness field that says nothing (Tech 3285 v2)
_OLDEST_BYTES = 348  # up to and including Version: the least a reader can use

assert _FIXED.size == FIXED_BYTES


class Bext(Struct, frozen=True):
    """One bext chunk.

    Texts are ASCII in the standard, but not every writer keeps to it: bytes that are no UTF-8 stand in the
    texts as lone surrogates (PEP 383), so that what was read is written again byte for byte.
    """

    description: str = ""
    originator: str = ""
    originator_reference: str = ""
    date: str = ""  # yyyy-mm-dd
    time: str = ""  # hh-mm-ss
    time_reference: int = 0  # samples since midnight of the first sample, at the file's rate
    version: int = 2
    umid: bytes = bytes(64)
    loudness_lufs: float | None = None
    loudness_range_lu: float | None = None
    max_true_peak_dbtp: float | None = None
    max_momentary_lufs: float | None = None
    max_short_term_lufs: float | None = None
    coding_history: str = ""  # lines ended by CR/LF

    def with_history(self, line: str) -> Bext:
        """The same with one more line of coding history, ended by CR/LF as the standard asks."""
        before = self.coding_history
        if before and not before.endswith("\r\n"):
            before = before.rstrip("\r\n") + "\r\n"
        return replace(self, coding_history=f"{before}{line}\r\n")


def parse_bext(data: bytes) -> Bext | None:
    """Read the data of a bext chunk; None if it is too short to hold a time reference and version.

    Loudness is read from version 2 on; before that those bytes are reserved.
    """
    if len(data) < _OLDEST_BYTES:
        return None
    whole = data[:FIXED_BYTES].ljust(FIXED_BYTES, b"\0")
    description, originator, reference, date, time, time_reference, version, umid, *loudness, _ = (
        _FIXED.unpack(whole)
    )
    levels = [_level(value) if version >= 2 else None for value in loudness]
    return Bext(
        description=_text(description),
        originator=_text(originator),
        originator_reference=_text(reference),
        date=_text(date),
        time=_text(time),
        time_reference=time_reference,
        version=version,
        umid=umid if version >= 1 else bytes(64),
        loudness_lufs=levels[0],
        loudness_range_lu=levels[1],
        max_true_peak_dbtp=levels[2],
        max_momentary_lufs=levels[3],
        max_short_term_lufs=levels[4],
        coding_history=_text(data[FIXED_BYTES:]),
    )


def pack_bext(bext: Bext) -> bytes:
    """The data of a bext chunk, always version 2. Texts longer than their field are cut.

    Raises ValueError for a time reference outside 0..2^64-1.
    """
    if not 0 <= bext.time_reference < 1 << 64:
        raise ValueError(f"a time reference counts samples since midnight, not {bext.time_reference}")
    levels = (
        bext.loudness_lufs,
        bext.loudness_range_lu,
        bext.max_true_peak_dbtp,
        bext.max_momentary_lufs,
        bext.max_short_term_lufs,
    )
    fixed = _FIXED.pack(
        _bytes(bext.description)[:256],
        _bytes(bext.originator)[:32],
        _bytes(bext.originator_reference)[:32],
        _bytes(bext.date)[:10],
        _bytes(bext.time)[:8],
        bext.time_reference,
        2,
        bext.umid[:64],
        *(_hundredths(level) for level in levels),
        bytes(180),
    )
    return fixed + _bytes(bext.coding_history)


def _text(field: bytes) -> str:
    """Text up to the first zero byte."""
    return field.split(b"\0", 1)[0].decode("utf-8", errors="surrogateescape")


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", errors="surrogateescape")


def ascii_only(text: str) -> str:
    """The text as the standard wants a new one: other letters replaced."""
    return text.encode("ascii", errors="replace").decode("ascii")


def _level(hundredths: int) -> float | None:
    return None if hundredths == NOT_MEASURED else hundredths / 100.0


def _hundredths(level: float | None) -> int:
    """A level times 100, rounded; NOT_MEASURED where there is none or it does not fit 99.99."""
    if level is None or not math.isfinite(level) or abs(level) > 99.99:
        return NOT_MEASURED
    return round(100.0 * level)
