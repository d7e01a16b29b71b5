"""Readers of recordings, of their metadata and of stored overviews, as functions of bytes."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
import soundfile
from tests.robustness.mutation import damaged_bytes
from tests.robustness.target import folder, outcome

from lagline.jobs.open_take import open_take
from lagline.media import overview_file
from lagline.media.bext import Bext, pack_bext, parse_bext
from lagline.media.carry import read_carried, retimed_chunks
from lagline.media.clip import Clip
from lagline.media.cue import moved_cues, pack_cues, parse_cues
from lagline.media.ixml import retimed_ixml
from lagline.media.overview import build_overviews
from lagline.media.probe import probe
from lagline.media.riff import Chunk, packed
from lagline.media.write import write_audio

LONGEST_READ_FRAMES = 200_000


@cache
def audio_seeds() -> tuple[bytes, ...]:
    """Small files of every format we read, some with metadata."""
    rng = np.random.default_rng(1)
    place = Path(tempfile.mkdtemp(dir=folder()))
    kinds = [
        ("WAV", "PCM_16", 1), ("WAV", "PCM_24", 2), ("WAV", "FLOAT", 1), ("WAV", "PCM_U8", 1),
        ("WAV", "DOUBLE", 1), ("WAV", "IMA_ADPCM", 1), ("WAVEX", "PCM_24", 4), ("RF64", "PCM_24", 2),
        ("AIFF", "PCM_16", 2),
        ("AIFF", "FLOAT", 1), ("W64", "PCM_24", 2), ("FLAC", "PCM_16", 2), ("FLAC", "PCM_24", 1),
        ("CAF", "PCM_24", 2), ("CAF", "ALAC_16", 1), ("AU", "PCM_16", 1), ("OGG", "VORBIS", 1),
        ("OGG", "OPUS", 1), ("MP3", "MPEG_LAYER_III", 1),
    ]  # fmt: skip
    files = []
    for number, (form, subtype, channels) in enumerate(kinds):
        path = place / f"{number}"
        samples = 0.2 * rng.standard_normal((700, channels))
        soundfile.write(path, np.clip(samples, -1, 1), 48_000, subtype=subtype, format=form)
        files.append(path.read_bytes())
    path = place / "broadcast.wav"
    write_audio(path, [0.1 * rng.standard_normal((500, 1))], 48_000, 1, frames=500, chunks=_chunks())
    files.append(path.read_bytes())
    files.append(b"BW64" + files[7][4:])
    return tuple(files)


def _chunks() -> list[Chunk]:
    label = packed(Chunk(b"labl", b"\1\0\0\0verse\0"))
    cue = b"\1\0\0\0" + b"\1\0\0\0" * 2 + b"data" + bytes(8) + b"\x10\0\0\0"
    return [
        Chunk(b"bext", bext_seeds()[0]),
        Chunk(b"iXML", ixml_seeds()[0]),
        Chunk(b"cue ", cue),
        Chunk(b"LIST", b"adtl" + label),
        Chunk(b"LIST", b"INFOINAM\6\0\0\0title\0"),
    ]


def read_audio(data: bytes) -> str:
    """Everything that is done with a recording between opening and exporting."""
    path = folder() / "input.wav"
    path.write_bytes(data)

    def read() -> None:
        info = probe(path)
        for channel in {0, info.channels - 1}:
            clip = Clip(path, channel, info=info)
            samples = clip.read(-10, min(info.frames, LONGEST_READ_FRAMES))
            assert np.isfinite(samples).all()
            assert not clip.read(info.frames, info.frames + 10).any()
            clip.close()
        carried = read_carried(path)
        retimed_chunks(
            carried, channels=[0], rate_hz=info.rate_hz, wanted_hz=48_000, later_samples=5,
            frames=info.frames, bits=24, time_reference=7,
        )  # fmt: skip
        if info.frames < LONGEST_READ_FRAMES and info.channels < 64:
            built = build_overviews(path, info=info, use_cache=False)
            assert len(built.overviews) == info.channels
        open_take([path])

    return outcome(read)


# metadata chunks


@cache
def bext_seeds() -> tuple[bytes, ...]:
    full = Bext("Invented", "Lagline", "ref", "2001-02-03", "04-05-06", 172_800_000, 2, bytes(64), -23.0, 5.0)
    return pack_bext(full.with_history("A=PCM,F=48000")), pack_bext(Bext())


def read_bext(data: bytes) -> str:
    bext = parse_bext(data)
    if bext is None:
        return "none"
    again = parse_bext(pack_bext(bext.with_history("A=PCM")))
    assert again is not None and again.time_reference == bext.time_reference
    return "read"


@cache
def cue_seeds() -> tuple[bytes, ...]:
    """A cue chunk and its adtl list, glued by their lengths."""
    cue, adtl = _chunks()[2].data, _chunks()[3].data
    region = packed(Chunk(b"ltxt", b"\1\0\0\0\x20\0\0\0rgn " + bytes(8)))
    return tuple(bytes([len(cue)]) + cue + texts for texts in (adtl, adtl + region, b""))


def read_cue(data: bytes) -> str:
    size = data[0] if data else 0
    points = parse_cues(data[1 : 1 + size], data[1 + size :])
    pack_cues(moved_cues(points, -3, 44_100, 48_000, 5000))
    return "read" if points else "none"


@cache
def ixml_seeds() -> tuple[bytes, ...]:
    text = (
        "<?xml version='1.0' encoding='UTF-8'?><BWFXML><PROJECT>Invented</PROJECT><SPEED>"
        "<FILE_SAMPLE_RATE>48000</FILE_SAMPLE_RATE><AUDIO_BIT_DEPTH>24</AUDIO_BIT_DEPTH>"
        "<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>5</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO></SPEED>"
        "<TRACK_LIST><TRACK_COUNT>2</TRACK_COUNT><TRACK><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX></TRACK>"
        "<TRACK><INTERLEAVE_INDEX>2</INTERLEAVE_INDEX></TRACK></TRACK_LIST></BWFXML>"
    )
    bomb = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]><x>&b;</x>'
    return text.encode(), text.replace("UTF-8", "UTF-16").encode("utf-16"), bomb.encode()


def read_ixml(data: bytes) -> str:
    written = retimed_ixml(data, time_reference=1 << 40, rate_hz=48_000, bits=24, channels=[1])
    return "none" if written is None else "read"


# stored overviews


@cache
def overview_seeds() -> tuple[bytes, ...]:
    source = folder() / "overview-source.wav"
    source.write_bytes(audio_seeds()[1])
    built = build_overviews(source, use_cache=False)
    path = folder() / "seed.overview"
    overview_file.save(path, built.info.frames, built.overviews, built.health)
    return (path.read_bytes(),)


def damaged_overview(data: bytes, rng: random.Random, others: Sequence[bytes] = ()) -> bytes:
    """Half of the time with a right checksum, so that the damage gets past it."""
    import zlib

    out = damaged_bytes(data, rng, others)
    if rng.random() < 0.5 and len(out) > 4:
        return out[:-4] + zlib.crc32(out[:-4]).to_bytes(4, "little")
    return out


def read_overview(data: bytes) -> str:
    path = folder() / "input.overview"
    path.write_bytes(data)
    found = overview_file.load(path, 700, 2)
    if found is None:
        return "none"
    for overview in found[0]:
        overview.columns(-10.0, 800.0, 50)
    return "read"
