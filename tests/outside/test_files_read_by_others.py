"""Files we write, read by readers that are not ours: wavinfo, soundfile, and where installed sox and flac.

Offsets of the bext chunk: EBU Tech 3285 v2. RF64 layout: EBU Tech 3306. Blocks of FLAC: RFC 9639.
"""

import shutil
import struct
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.support.recordings import FloatArray, noise, recording
from wavinfo import WavInfoReader

from lagline.media.bext import Bext, pack_bext
from lagline.media.cue import CuePoint, pack_cues
from lagline.media.probe import probe
from lagline.media.riff import Chunk
from lagline.media.write import write_audio

BEXT = Bext(
    description="Invented take, lane Near",
    originator="Lagline",
    originator_reference="LL0001",
    date="2026-11-25",
    time="10-00-00",
    time_reference=2**32 + 1_728_000_000,
    umid=bytes(range(64)),
    loudness_lufs=-23.45,
    loudness_range_lu=7.5,
    max_true_peak_dbtp=-1.02,
    max_momentary_lufs=-18.0,
    max_short_term_lufs=None,
    coding_history="A=PCM,F=48000,W=24,M=mono\r\n",
)


@pytest.fixture(params=[1_000, 1_001])
def written(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A file with bext, iXML and cue points; odd and even number of bytes of audio."""
    path = tmp_path / "lane.wav"
    label = Chunk(b"labl", struct.pack("<I", 7) + b"downbeat\0")
    cues = pack_cues((CuePoint(7, 480, (label,)),))
    ixml = Chunk(b"iXML", b"<BWFXML><PROJECT>Invented</PROJECT></BWFXML>\n")
    chunks = [Chunk(b"bext", pack_bext(BEXT)), ixml, *cues]
    write_audio(path, [noise(request.param)], 48_000, 1, frames=request.param, chunks=chunks)
    return path


def test_bext_lies_at_the_offsets_of_the_standard(written: Path) -> None:
    data = written.read_bytes()
    start = data.index(b"bext") + 8
    body = data[start:]
    assert body[0:24] == b"Invented take, lane Near"
    assert body[256:263] == b"Lagline"
    assert body[288:294] == b"LL0001"
    assert body[320:330] == b"2026-11-25"
    assert body[330:338] == b"10-00-00"
    assert struct.unpack_from("<II", body, 338) == (1_728_000_000, 1)
    assert struct.unpack_from("<H", body, 346) == (2,)
    assert body[348:412] == bytes(range(64))
    assert struct.unpack_from("<5h", body, 412) == (-2345, 750, -102, -1800, 0x7FFF)
    assert body[422:602] == bytes(180)
    assert body[602:627] == b"A=PCM,F=48000,W=24,M=mono"


def test_wavinfo_reads_the_chunks(written: Path) -> None:
    info = WavInfoReader(str(written))
    assert info.fmt is not None
    assert (info.fmt.sample_rate, info.fmt.channel_count, info.fmt.bits_per_sample) == (48_000, 1, 24)
    assert info.data is not None
    assert info.data.frame_count == probe(written).frames
    assert info.bext is not None
    assert info.bext.description == BEXT.description
    assert info.bext.originator == "Lagline"
    assert info.bext.time_reference == BEXT.time_reference
    assert info.bext.version == 2
    assert info.bext.loudness_value == pytest.approx(-23.45)
    assert info.bext.max_true_peak == pytest.approx(-1.02)
    assert info.ixml is not None
    assert info.ixml.project == "Invented"
    assert info.cues is not None
    assert [(cue.name, cue.position) for cue in info.cues.cues] == [(7, 480)]
    assert info.cues.label_and_note(7)[0] == "downbeat"


def test_our_own_probe_reads_the_stamp(written: Path) -> None:
    assert probe(written).bext == BEXT
    assert probe(written).time_reference == 2**32 + 1_728_000_000


@pytest.mark.skipif(shutil.which("sox") is None, reason="sox is not installed")
@pytest.mark.parametrize(
    ("subtype", "bits", "channels"), [("PCM_16", 16, 1), ("PCM_24", 24, 2), ("FLOAT", 32, 2)]
)
def test_sox_reads_it(tmp_path: Path, subtype: str, bits: int, channels: int) -> None:
    path = tmp_path / "out.wav"
    samples = noise(4_801, channels)
    write_audio(
        path, [samples], 44_100, channels, subtype, frames=4_801, chunks=[Chunk(b"bext", pack_bext(BEXT))]
    )
    said = subprocess.run(["sox", "--i", str(path)], capture_output=True, text=True, check=True)
    assert said.stderr == ""
    fields = dict(line.split(":", 1) for line in said.stdout.splitlines() if ":" in line)
    values = {name.strip(): value.strip() for name, value in fields.items()}
    assert (values["Channels"], values["Sample Rate"]) == (str(channels), "44100")
    assert "4801 samples" in values["Duration"]
    assert values["Sample Encoding"].startswith(f"{bits}-bit")
    if subtype != "PCM_16":
        raw = subprocess.run(
            ["sox", str(path), "-t", "raw", "-e", "signed", "-b", "32", "-"], capture_output=True, check=True
        ).stdout
        assert np.array_equal(np.frombuffer(raw, "<i4").reshape(-1, channels), np.float64(samples) * 2**31)


def test_soundfile_adds_nothing_and_misses_nothing(written: Path) -> None:
    read, rate_hz = soundfile.read(written, dtype="float32", always_2d=True)
    assert rate_hz == 48_000
    assert np.array_equal(read, noise(len(read)))


def test_wavinfo_reads_what_soundfile_wrote_as_we_do(tmp_path: Path) -> None:
    path = recording(tmp_path / "plain.wav", noise(777, 2))
    info = WavInfoReader(str(path))
    assert info.bext is None
    assert probe(path).bext is None


@pytest.mark.slow
def test_a_real_rf64_above_4_gib(tmp_path: Path) -> None:
    """4.3 GB of 32-bit float: read at both ends by wavinfo and soundfile."""
    channels, frames = 32, 33_600_000
    if shutil.disk_usage(tmp_path).free < 10 * 2**30:
        pytest.skip("less than 10 GiB free")
    block = np.zeros((480_000, channels), np.float32)
    path = tmp_path / "large.wav"
    chunks = [Chunk(b"bext", pack_bext(BEXT)), Chunk(b"iXML", b"<odd/>\n")]

    def blocks() -> Iterator[FloatArray]:
        for number in range(frames // len(block)):
            block[0] = (number + 1) / 128
            yield block

    written = write_audio(path, blocks(), 48_000, channels, "FLOAT", frames=frames, chunks=chunks)
    try:
        assert written.size_bytes > 2**32
        with path.open("rb") as file:
            head = file.read(48)
        assert struct.unpack("<4sI4s4sI", head[:20]) == (b"RF64", 0xFFFFFFFF, b"WAVE", b"ds64", 28)
        assert struct.unpack("<QQQI", head[20:48]) == (
            written.size_bytes - 8,
            frames * channels * 4,
            frames,
            0,
        )
        with soundfile.SoundFile(path) as sound:
            assert (sound.frames, sound.channels, sound.format) == (frames, channels, "RF64")
            sound.seek(frames - len(block))
            assert np.array_equal(sound.read(1, dtype="float32")[0], np.full(channels, 70 / 128))
        info = WavInfoReader(str(path))
        assert info.bext is not None
        assert info.bext.time_reference == BEXT.time_reference
        assert info.data is not None
        assert info.data.frame_count == frames
        assert probe(path).frames == frames
        assert probe(path).warning is None
    finally:
        path.unlink()


@pytest.mark.skipif(shutil.which("flac") is None, reason="flac is not installed")
@pytest.mark.parametrize("bits", [16, 24])
def test_flacs_own_decoder_gives_the_wave_file_back(tmp_path: Path, bits: int) -> None:
    """`flac --keep-foreign-metadata`, of the format's reference implementation."""
    chunks = [Chunk(b"bext", pack_bext(BEXT)), Chunk(b"odd ", b"123"), *pack_cues((CuePoint(7, 480),))]
    wave, flac, back = (tmp_path / name for name in ("lane.wav", "lane.flac", "back.wav"))
    for path in (wave, flac):
        write_audio(
            path, [noise(4_801)], 48_000, 1, f"PCM_{bits}", frames=4_801, chunks=chunks,
            file_format=path.suffix[1:].upper(), tags={"artist": "Nobody"} if path is flac else None,
        )  # fmt: skip
    asked = ["flac", "--decode", "--silent", "--keep-foreign-metadata", str(flac), "-o", str(back)]
    subprocess.run(asked, capture_output=True, check=True)
    ours, theirs = wave.read_bytes(), back.read_bytes()
    # Everything behind the format chunk, which it writes in its own way for 24 bits.
    assert theirs[theirs.index(b"bext") :] == ours[ours.index(b"bext") :]
    tested = subprocess.run(["flac", "--test", str(flac)], capture_output=True, text=True)
    assert tested.returncode == 0
    listed = subprocess.run(["metaflac", "--export-tags-to=-", str(flac)], capture_output=True, text=True)
    assert "artist=nobody" in listed.stdout.lower()
