"""Lanes that share a file: those of one recording together again, or all of a take."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from msgspec.structs import replace
from tests.support.recordings import noise
from wavinfo import WavInfoReader

from lagline.blend.clips import open_clips
from lagline.deliver.delivered import DeliveredFile
from lagline.deliver.options import DeliveryOptions
from lagline.deliver.stems import write_stems
from lagline.deliver.verify import verified
from lagline.errors import TooManyChannels
from lagline.jobs.hand_over import hand_over_take
from lagline.jobs.open_take import open_take
from lagline.jobs.verify import verify_delivery
from lagline.media import write as write_module
from lagline.media.bext import Bext, pack_bext
from lagline.media.riff import Chunk, read_chunk, read_layout
from lagline.media.speakers import speaker_mask
from lagline.media.write import write_audio
from lagline.session.values import Move, Session, Version

FRAMES = 24_000
SURROUND = 0x3F  # front left, right, centre, low frequencies, back left, right
UNKNOWN = Chunk(b"abcd", b"anything\x00\xff")
ADM = (Chunk(b"axml", b"<ebuCoreMain/>"), Chunk(b"chna", bytes(44)))
IXML = b"<BWFXML><PROJECT>Invented</PROJECT><TRACK_LIST><TRACK_COUNT>1</TRACK_COUNT><TRACK><CHANNEL_INDEX>9"
IXML += (
    b"</CHANNEL_INDEX><INTERLEAVE_INDEX>2</INTERLEAVE_INDEX><NAME>Old</NAME></TRACK></TRACK_LIST></BWFXML>"
)


def record(
    path: Path, channels: int, *chunks: Chunk, subtype: str = "PCM_24", speakers: int | None = None
) -> None:
    steps = 2.0 ** (15 if subtype == "PCM_16" else 23)
    samples = (np.rint(noise(FRAMES, channels, seed=channels) * steps) / steps).astype(np.float32)
    write_audio(path, [samples], 48_000, channels, subtype, frames=FRAMES, chunks=chunks, speakers=speakers)


def moved(session: Session, *shifts: float) -> tuple[Session, Version]:
    moves = {lane.id: Move(shift) for lane, shift in zip(session.lanes, shifts, strict=False)}
    version = Version("v1", "Shifted", moves)
    return replace(session, versions=(version,)), version


def samples_of(path: Path) -> np.ndarray:
    return soundfile.read(path, dtype="int32", always_2d=True)[0]


def chunks_of(path: Path) -> dict[bytes, bytes]:
    layout = read_layout(path)
    assert layout is not None
    return {place.id: read_chunk(path, place) for place in layout.chunks if place.id != b"data"}


def delivered(session: Session, version: Version, out: Path, **options: object) -> tuple[DeliveredFile, ...]:
    return write_stems(session, version, open_clips(session), out, DeliveryOptions(**options)).files  # type: ignore[arg-type]


def test_a_stereo_pair_comes_back_as_one_stereo_file(tmp_path: Path) -> None:
    record(tmp_path / "in" / "Kit.wav", 2)
    record(tmp_path / "in" / "Snare.wav", 1)
    session, version = moved(open_take([tmp_path / "in"]).session, 100.0, 100.0, 7.0)
    kit, snare = delivered(session, version, tmp_path / "out", layout="recorded")
    assert (kit.lane, [held.lane for held in kit.held]) == ("Kit", ["Kit L", "Kit R"])
    assert kit.name == "in - Kit - Shifted.wav" and kit.copied and all(held.copied for held in kit.channels)
    out = samples_of(tmp_path / "out" / kit.name)
    assert np.array_equal(out[100 : 100 + FRAMES], samples_of(tmp_path / "in" / "Kit.wav"))
    assert struct.unpack_from("<H", chunks_of(tmp_path / "out" / kit.name)[b"fmt "]) == (1,)  # plain PCM
    assert kit.loudness_lufs is not None and kit.true_peak_dbtp is not None
    assert "M=stereo,T=Lagline" in str(chunks_of(tmp_path / "out" / kit.name)[b"bext"])
    assert (snare.channels, snare.lane, snare.shift_samples, snare.copied) == ((), "Snare", 7.0, True)


def test_a_recording_of_six_channels_keeps_order_speakers_names_and_chunks(tmp_path: Path) -> None:
    bext = Chunk(b"bext", pack_bext(Bext(description="Hall", time_reference=48_000)))
    record(tmp_path / "Hall.wav", 6, bext, UNKNOWN, *ADM, Chunk(b"iXML", IXML), speakers=SURROUND)
    take = open_take([tmp_path / "Hall.wav"]).session
    session, version = moved(replace(take, lanes=take.lanes[::-1]), *[30.0] * 6)
    (file,) = delivered(session, version, tmp_path / "out", layout="recorded")
    path = tmp_path / "out" / file.name
    assert np.array_equal(samples_of(path)[30 : 30 + FRAMES], samples_of(tmp_path / "Hall.wav"))
    assert speaker_mask(path) == SURROUND
    chunks = chunks_of(path)
    assert (chunks[b"abcd"], chunks[b"axml"], chunks[b"chna"]) == (
        UNKNOWN.data + b"\0" * (len(UNKNOWN.data) % 2), ADM[0].data, ADM[1].data,
    )  # fmt: skip
    told = WavInfoReader(str(path))  # another program's reader
    assert told.bext.description == "Hall" and told.bext.time_reference == 48_000
    tracks = [(track.channel_index, track.interleave_index, track.name) for track in told.ixml.track_list]
    assert tracks[0] == ("1", "1", "Hall 1") and tracks[1] == ("9", "2", "Hall 2") and len(tracks) == 6
    assert told.ixml.project == "Invented"


def test_channels_that_stay_away_take_their_speakers_with_them(tmp_path: Path) -> None:
    record(tmp_path / "Hall.wav", 6, *ADM, speakers=SURROUND)
    record(tmp_path / "Plain.wav", 4)
    take = open_take([tmp_path]).session
    lanes = tuple(lane for lane in take.lanes if lane.name not in ("Hall 4", "Plain 2", "Plain 4"))
    session, version = moved(replace(take, lanes=lanes))
    hall, plain = delivered(session, version, tmp_path / "out", layout="recorded")
    path = tmp_path / "out" / hall.name
    assert speaker_mask(path) == SURROUND & ~8  # low frequencies
    assert not {b"axml", b"chna"} & set(chunks_of(path))
    expected = np.delete(samples_of(tmp_path / "Hall.wav"), 3, axis=1)
    assert np.array_equal(samples_of(path), expected)
    assert [held.channel for held in plain.channels] == [0, 2]
    assert speaker_mask(tmp_path / "out" / plain.name) == 0  # they aren't left and right
    assert plain.loudness_lufs is None and plain.true_peak_dbtp is not None


def test_the_whole_take_in_one_file(tmp_path: Path) -> None:
    same = Chunk(b"LIST", b"INFOIART\x08\0\0\0Nobody\0\0")
    for name, channels, subtype in (("DI", 1, "PCM_16"), ("Pair", 2, "PCM_16"), ("Room", 1, "PCM_16")):
        bext = Chunk(b"bext", pack_bext(Bext(description="Song 3", originator=name, time_reference=9)))
        record(tmp_path / "in" / f"{name}.wav", channels, bext, same, UNKNOWN, subtype=subtype)
    session, version = moved(open_take([tmp_path / "in"]).session, 12.0, 5.5, 5.5, -40.0)
    (file,) = delivered(session, version, tmp_path / "out", layout="take", depth="16")
    path = tmp_path / "out" / file.name
    assert file.name == "in - all lanes - Shifted.wav"
    assert [held.lane for held in file.channels] == ["DI", "Pair L", "Pair R", "Room"]
    assert [held.copied for held in file.channels] == [True, False, False, True]
    assert all(held.left_db < -90 for held in file.channels[1:3])
    out = samples_of(path)  # dither is for the lanes that need it, and leaves the copies alone
    assert np.array_equal(out[52 : 52 + FRAMES, 0], samples_of(tmp_path / "in" / "DI.wav")[:, 0])
    assert np.array_equal(out[:FRAMES, 3], samples_of(tmp_path / "in" / "Room.wav")[:, 0])
    assert speaker_mask(path) == 0
    told = WavInfoReader(str(path))
    assert [track.name for track in told.ixml.track_list] == [held.lane for held in file.channels]
    assert (told.bext.description, told.bext.originator) == ("Song 3", "")  # what all say, and no more
    assert told.info.artist == "Nobody" and chunks_of(path)[b"abcd"].startswith(UNKNOWN.data)
    (deeper,) = delivered(session, version, tmp_path / "deeper", layout="take")
    assert deeper.subtype == "PCM_24"  # since some of its lanes are interpolated


def test_a_whole_take_above_the_limit_is_rf64(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The limit lowered; 4 GiB in truth were written once by hand."""
    monkeypatch.setattr(write_module, "LARGEST_RIFF_BYTES", 200_000)
    record(tmp_path / "in" / "Pair.wav", 2)
    record(tmp_path / "in" / "Room.wav", 1)
    session, version = moved(open_take([tmp_path / "in"]).session, 3.0, 4.25)
    (file,) = delivered(session, version, tmp_path / "out", layout="take")
    layout = read_layout(tmp_path / "out" / file.name)
    assert layout is not None and layout.form == "RF64"
    assert soundfile.info(tmp_path / "out" / file.name).frames == file.frames == FRAMES + 5
    assert file.channels[2].copied and file.channels[1].left_db < -110


def test_more_lanes_than_a_format_holds_are_refused_before_anything_is_written(tmp_path: Path) -> None:
    record(tmp_path / "Nine.wav", 9)
    session, version = moved(open_take([tmp_path / "Nine.wav"]).session)
    with pytest.raises(TooManyChannels, match="9 channels, and FLAC holds 8"):
        delivered(session, version, tmp_path / "out", layout="take", file_format="FLAC")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("file_format", ["WAV", "FLAC"])
def test_damage_is_named_by_channel(tmp_path: Path, file_format: str) -> None:
    record(tmp_path / "in" / "Pair.wav", 2)
    record(tmp_path / "in" / "Room.wav", 1)
    session, version = moved(open_take([tmp_path / "in"]).session, 0.0, 4.25, 9.0)
    options = DeliveryOptions(layout="take", file_format=file_format)  # type: ignore[arg-type]
    hand_over_take(session, tmp_path / "out", version.id, options)
    found = verify_delivery(tmp_path / "out", [tmp_path / "in"])
    assert not [one.problems for one in found if one.problems]
    (whole,) = [one for one in found if one.file.channels]
    assert whole.compared.startswith("bit for bit, -1") and whole.compared.endswith("dB left")
    samples, rate_hz = soundfile.read(whole.path, dtype="int32")
    for channel, word in ((0, "no longer a copy"), (1, "does not hold its recording")):
        damaged = samples.copy()
        damaged[5_000 : 5_000 + 4_000 * channel + 1, channel] ^= 1 << 28
        soundfile.write(whole.path, damaged, rate_hz, "PCM_24", format=file_format)
        one = replace(whole.file, true_peak_dbtp=None)
        manifest = _manifest(tmp_path / "out", one)
        (again,) = verified(whole.path.parent, manifest, _places(tmp_path / "in"))
        name = ("Pair L", "Pair R")[channel]
        assert any(f"channel {channel + 1} ({name})" in said and word in said for said in again.problems)


def _manifest(folder: Path, file: DeliveredFile) -> object:
    from lagline.deliver.verify import read_manifest

    return replace(read_manifest(folder / "aligned" / "delivery.json"), files=(file,))


def _places(folder: Path) -> dict[str, tuple[Path, int]]:
    take = open_take([folder]).session
    return {lane.source.fingerprint: (lane.source.path, lane.source.channel) for lane in take.lanes}
