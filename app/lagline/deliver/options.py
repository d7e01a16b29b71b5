"""What the engineer chose for a delivery."""

from __future__ import annotations

from typing import Literal

from msgspec import Struct

from lagline.session.values import Source

Depth = Literal["source", "16", "24", "float"]
_SUBTYPES = {"16": "PCM_16", "24": "PCM_24", "float": "FLOAT"}
_PCM_BITS = {
    "PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32,
    "ALAC_16": 16, "ALAC_20": 20, "ALAC_24": 24, "ALAC_32": 32,
}  # fmt: skip

DEFAULT_NAMES = "{take} - {lane} - {version}"
RATES_HZ = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)


class DeliveryOptions(Struct, frozen=True):
    """How files are written. The defaults suit an editor that takes the lanes further."""

    depth: Depth = "source"  # per lane its recording's own; blends then get 24 bits
    rate_hz: int | None = None  # None: the session's
    file_format: Literal["WAV", "FLAC"] = "WAV"
    whole_samples: bool = False  # round every shift to whole samples, so that no lane is interpolated
    dither: bool = True  # for 16 and 24 bits, where samples do not already lie on the file's steps
    dither_seed: int = 1  # the same seed gives the same files
    names: str = DEFAULT_NAMES  # fields: see names.FIELDS
    mono_blend: bool = False
    carry_metadata: bool = True  # bext, iXML, cue points and texts of the recordings
    measure_loudness: bool = True  # fills the loudness fields of bext version 2
    overwrite: bool = False


DEFAULTS = DeliveryOptions()


def lane_subtype(source: Source, options: DeliveryOptions) -> str:
    """Sample format of a lane's file: libsndfile's name.

    With depth "source": the recording's own for 16 and 24 bits; 16 for fewer; 32-bit float for 32 bits
    and for floats; 24 for formats with loss, whose depth means nothing.
    """
    if options.depth != "source":
        chosen = _SUBTYPES[options.depth]
    elif source.subtype in ("FLOAT", "DOUBLE"):
        chosen = "FLOAT"
    else:
        bits = _PCM_BITS.get(source.subtype, 24)
        chosen = "PCM_16" if bits <= 16 else "PCM_24" if bits <= 24 else "FLOAT"
    return _in_format(chosen, options)


def blend_subtype(options: DeliveryOptions) -> str:
    return _in_format(_SUBTYPES.get(options.depth, "PCM_24"), options)


def fits_exactly(source: Source, subtype: str) -> bool:
    """Whether samples copied from the recording stay what they are in that format."""
    if source.subtype == "FLOAT":
        return subtype == "FLOAT"
    bits = _PCM_BITS.get(source.subtype)
    room = 24 if subtype == "FLOAT" else int(subtype.removeprefix("PCM_"))  # a float holds 24 bits exactly
    return bits is not None and bits <= room


def _in_format(subtype: str, options: DeliveryOptions) -> str:
    return "PCM_24" if options.file_format == "FLAC" and subtype == "FLOAT" else subtype
