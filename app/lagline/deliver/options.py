"""What the engineer chose for a delivery."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from msgspec import Struct

from lagline.session.values import Source

Depth = Literal["source", "16", "24", "float"]
# Over the recordings as they are: none, one that points to them, or one with them in it.
Edit = Literal["none", "linked", "bundle"]
# Aligned files: one a lane, one for the lanes of each recording, or one for all.
Layout = Literal["lanes", "recorded", "take"]
_SUBTYPES = {"16": "PCM_16", "24": "PCM_24", "float": "FLOAT"}
_PCM_BITS = {
    "PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32,
    "ALAC_16": 16, "ALAC_20": 20, "ALAC_24": 24, "ALAC_32": 32,
}  # fmt: skip

DEFAULT_NAMES = "{take} - {lane} - {version}"
HIGHEST_PEAK_DBTP = -1.0  # EBU R 128 (2023): maximum true peak level in production
RATES_HZ = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)


class DeliveryOptions(Struct, frozen=True):
    """How files are written. The defaults suit an editor that takes the lanes further."""

    depth: Depth = "source"  # see `lane_subtype` and `blend_subtype`
    rate_hz: int | None = None  # None: the session's
    file_format: Literal["WAV", "FLAC"] = "WAV"
    layout: Layout = "lanes"
    whole_samples: bool = False  # round every shift to whole samples, so that no lane is interpolated
    dither: bool = True  # for 16 and 24 bits, where samples do not already lie on the file's steps
    dither_seed: int = 1  # the same seed gives the same files
    names: str = DEFAULT_NAMES  # fields: see names.FIELDS
    mono_blend: bool = False
    peak_dbtp: float | None = HIGHEST_PEAK_DBTP  # no blend's true peak lies above it; None: as mixed
    carry_metadata: bool = True  # bext, iXML, cue points and texts of the recordings
    measure_loudness: bool = True  # fills the loudness fields of bext version 2
    overwrite: bool = False


DEFAULTS = DeliveryOptions()


def lane_subtype(source: Source, options: DeliveryOptions, *, copied: bool) -> str:
    """Sample format of a lane's file: libsndfile's name.

    With depth "source": the recording's own for 16 and 24 bits; 16 for fewer; 32-bit float for 32 bits
    and for floats; 24 for formats with loss, whose depth means nothing. A lane that is not copied but
    interpolated gets 24 bits at least: its samples no longer lie on the steps of 16.
    """
    if options.depth != "source":
        chosen = _SUBTYPES[options.depth]
    elif source.subtype in ("FLOAT", "DOUBLE"):
        chosen = "FLOAT"
    else:
        bits = _PCM_BITS.get(source.subtype, 24)
        chosen = "PCM_16" if bits <= 16 and copied else "PCM_24" if bits <= 24 else "FLOAT"
    return _in_format(chosen, options)


def shared_subtype(subtypes: Iterable[str]) -> str:
    """Sample format of a file of lanes of these: the one that holds them all."""
    return max(subtypes, key=("PCM_16", "PCM_24", "FLOAT").index)


def blend_subtype(sources: Iterable[Source], options: DeliveryOptions) -> str:
    """Sample format of a blend of these: with depth "source" float where one of them is, else 24 bits."""
    formats = {lane_subtype(source, options, copied=False) for source in sources}
    return "FLOAT" if "FLOAT" in formats else _in_format(_SUBTYPES.get(options.depth, "PCM_24"), options)


def fits_exactly(source: Source, subtype: str) -> bool:
    """Whether samples copied from the recording stay what they are in that format."""
    if source.subtype == "FLOAT":
        return subtype == "FLOAT"
    bits = _PCM_BITS.get(source.subtype)
    room = 24 if subtype == "FLOAT" else int(subtype.removeprefix("PCM_"))  # a float holds 24 bits exactly
    return bits is not None and bits <= room


def _in_format(subtype: str, options: DeliveryOptions) -> str:
    return "PCM_24" if options.file_format == "FLAC" and subtype == "FLOAT" else subtype
