"""Everything that reads what others wrote, as functions of bytes: `TARGETS` by name.

A target returns what became of the input in one word ("read", or the name of one of our errors) and lets
any other exception out: that is a defect.
"""

from __future__ import annotations

import contextlib
import io
import os
import random
import shutil
import tempfile
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from pathlib import Path

import msgspec
import numpy as np
import soundfile
from tests.robustness.mutation import Damage, damaged_bytes, damaged_json, damaged_words

from lagline.deliver.sheet import delay_sheet
from lagline.deliver.sheet_text import sheet_csv, sheet_text
from lagline.errors import LaglineError
from lagline.jobs.journal import NAME, LaneResult, TakeResult, _Head, read_journal
from lagline.jobs.open_take import open_take
from lagline.jobs.sources import source_problems
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
from lagline.session import edits
from lagline.session.findings import Alignment, Evidence, Finding, PairFinding, RunnerUp, WindowCount
from lagline.session.plan import Plan, PlannedLane, load_plan, save_plan
from lagline.session.setup import applied, load_setup, matched_lanes, save_setup, setup_of
from lagline.session.storage import load, save
from lagline.session.values import Lane, Move, Session, Source, Version

LONGEST_READ_FRAMES = 200_000


class Target(msgspec.Struct, frozen=True):
    name: str
    seeds: Callable[[], tuple[bytes, ...]]
    run: Callable[[bytes], str]
    damage: Damage


@cache
def folder() -> Path:
    """A folder in memory where the system has one; gone at the end."""
    memory = Path("/dev/shm")
    place = Path(tempfile.mkdtemp(prefix="lagline-fuzz-", dir=memory if os.access(memory, os.W_OK) else None))
    import atexit

    atexit.register(shutil.rmtree, place, ignore_errors=True)
    return place


def _outcome(read: Callable[[], object]) -> str:
    try:
        read()
    except LaglineError as error:
        assert str(error), "an error without a sentence"
        return type(error).__name__
    return "read"


# audio files


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
            carried, channel=0, rate_hz=info.rate_hz, wanted_hz=48_000, later_samples=5, frames=info.frames,
            bits=24, time_reference=7,
        )  # fmt: skip
        if info.frames < LONGEST_READ_FRAMES and info.channels < 64:
            built = build_overviews(path, info=info, use_cache=False)
            assert len(built.overviews) == info.channels
        open_take([path])

    return _outcome(read)


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
    written = retimed_ixml(data, time_reference=1 << 40, rate_hz=48_000, bits=24, channel=1)
    return "none" if written is None else "read"


# documents


def invented_session(folder: Path) -> Session:
    source = Source(folder / "near.wav", 0, 48_000, 48_000, 144_044, "PCM_24", 172_800_000)
    lanes = tuple(
        Lane(name.lower(), name, source, place_samples=place, gain_db=-3.0, pan=0.2, link="pair")
        for name, place in (("Near", 0), ("Room", 480))
    )
    moves = {"near": Move(101.37, -1, 3.5), "room": Move(-2.0)}
    return Session(
        rate_hz=48_000,
        lanes=lanes,
        versions=(Version("v1", "Shifted", moves, "as found"),),
        anchor_id="room",
        alignment=_alignment(),
        loop=(100, 2_000),
        notes="Invented",
        extra={"of a later version": [1, 2]},
    )


def _alignment() -> Alignment:
    evidence = Evidence(-2.0, 0.5, (0.1, 0.9, 0.1), (0.0, 1.0), (1.0, 1.0), (1.0, 0.5), (1, -1), 100.0, 9e3)
    near = Finding(
        "near", -101.4, 0.2, -1, 0.97, "strong", "Near is earlier.", 0.9, -101.0, -101.4, 0.1, 0.05, 0.3,
        (RunnerUp(-5.0, 1, 0.4),), WindowCount(44, 41), evidence,
    )  # fmt: skip
    room = Finding("room", 0.0, 0.0, 1, 1.0, "strong", "Room is the anchor.")
    pairs = (PairFinding("near", "room", -101.4, 1.0, 0.01, -1),)
    return Alignment("room", 48_000, (near, room), pairs, 0.01, ("Invented warning.",))


def _document_seed(write: Callable[[Path], object], name: str) -> bytes:
    path = folder() / f"seed-{name}"
    write(path)
    return path.read_bytes()


@cache
def session_seeds() -> tuple[bytes, ...]:
    small = Session(rate_hz=44_100, lanes=())
    return tuple(
        _document_seed(lambda path, session=session: save(session, path), "session")
        for session in (invented_session(folder()), small)
    )


def read_session(data: bytes) -> str:
    """Open, look at, edit and keep it: whatever loads must survive all of that."""
    path = folder() / "input.lagline"
    path.write_bytes(data)

    def read() -> None:
        session = load(path)
        session.span(*session.versions)
        session.audible_lanes()
        for version in session.versions[:4]:
            sheet = delay_sheet(session, version)
            assert sheet_csv(sheet) and sheet_text(sheet)
        source_problems(session)
        for lane in session.lanes[:4]:
            with contextlib.suppress(ValueError):  # at the end of the scale; the desk shows the sentence
                edits.nudged(session, lane.id, 1.5)
            edits.with_polarity(session, lane.id, -1)
            edits.without_lane(session, lane.id)
        if session.alignment is not None:
            edits.all_accepted(session)
        again = folder() / "again.lagline"
        save(session, again)
        assert load(again) == session

    return _outcome(read)


@cache
def setup_seeds() -> tuple[bytes, ...]:
    session = invented_session(folder())
    setup = setup_of(session, session.current_version, "Usual")
    return (_document_seed(lambda path: save_setup(setup, path), "setup"),)


def read_setup(data: bytes) -> str:
    path = folder() / "input.lagline-setup"
    path.write_bytes(data)

    def read() -> None:
        setup = load_setup(path)
        session = invented_session(folder())
        applied(setup, session, matched_lanes(setup, session))
        save_setup(setup, folder() / "again.lagline-setup")
        assert load_setup(folder() / "again.lagline-setup") == setup

    return _outcome(read)


@cache
def plan_seeds() -> tuple[bytes, ...]:
    lanes = (
        PlannedLane("Close", (0.3, 0.0, 1.0)),
        PlannedLane("Room", distance_m=3.5, level_db=-6.0, polarity=-1),
        PlannedLane("DI", latency_ms=1.2),
    )
    return (_document_seed(lambda path: save_plan(Plan(lanes, anchor="Room"), path), "plan"),)


def read_plan(data: bytes) -> str:
    from lagline.jobs import plan as jobs

    path = folder() / "input.lagline-plan"
    path.write_bytes(data)

    def read() -> None:
        plan = load_plan(path)
        with contextlib.suppress(FloatingPointError):
            jobs.arrivals(plan)
        if len(plan.lanes) < 8:
            jobs.pairs(plan)
        jobs.setup_of_plan(plan)
        save_plan(plan, folder() / "again.lagline-plan")
        assert load_plan(folder() / "again.lagline-plan") == plan

    return _outcome(read)


@cache
def journal_seeds() -> tuple[bytes, ...]:
    lane = LaneResult("Near", "strong", -101.4, -1, 101.4, "agrees", 0.1)
    takes = [TakeResult(f"take {n}", "done", "", 48_000, "Room", (lane,), ("Invented",)) for n in range(3)]
    lines = [_Head("asked"), *takes, TakeResult("bad", "failed", "Invented error")]
    return (b"".join(msgspec.json.encode(line) + b"\n" for line in lines),)


def damaged_lines(data: bytes, rng: random.Random, others: Sequence[bytes] = ()) -> bytes:
    lines = data.split(b"\n")
    at = rng.randrange(len(lines))
    lines[at] = damaged_json(lines[at], rng, others)
    return b"\n".join(lines) if rng.random() < 0.7 else damaged_bytes(data, rng, others)


def read_batch_journal(data: bytes) -> str:
    place = folder() / "batch"
    place.mkdir(exist_ok=True)
    (place / NAME).write_bytes(data)
    return _outcome(lambda: read_journal(place, "asked"))


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


# the command line


class _NoDesk:
    def open(self, paths: Sequence[Path]) -> int:
        return 0

    def picture(self, session: Path, png: Path, width: int, height: int, dark: bool) -> None:
        load(session)


@cache
def command_folder() -> Path:
    """A take, a session, a setup and a plan to name on the command line."""
    place = folder() / "desk"
    place.mkdir()
    rng = np.random.default_rng(3)
    sound = 0.2 * rng.standard_normal(6_000)
    for name, late in (("near", 0), ("room", 40)):
        (place / "take").mkdir(exist_ok=True)
        samples = np.concatenate([np.zeros(late), sound[: 6_000 - late]]) + 0.001 * rng.standard_normal(6_000)
        soundfile.write(place / "take" / f"{name}.wav", samples, 8_000)
    opened = open_take([place / "take"]).session
    opened = edits.with_shift(opened, opened.lanes[0].id, 40.0)
    save(opened, place / "take.lagline")
    save_setup(setup_of(opened, opened.current_version, "Usual"), place / "usual.lagline-setup")
    (place / "room.lagline-plan").write_bytes(plan_seeds()[0])
    (place / "broken.lagline").write_bytes(b"{")
    (place / "text.wav").write_bytes(b"no audio here")
    return place


COMMAND_LINES = (
    "align take", "align take/near.wav take/room.wav --json", "align take --out new.lagline --anchor near",
    "align take --from 0.1 --to 0:00.5 --search-ms 5 --whole-samples", "render take.lagline --out new",
    "render take.lagline --out new --depth float --file-rate 44100 --mono --match --names {lane}_{version}",
    "sheet take.lagline", "sheet take.lagline --csv --version Shifted", "check take", "check take --json",
    "report take.lagline --out new.html", "apply usual.lagline-setup take --out new.lagline --take-new",
    "merge new --out merged", "plan Close=30cm Room=3.5m DI=1.2ms --notch Room:Close@200",
    "plan room.lagline-plan --json --temperature-c 25 --humidity 40", "--version",
    "plan A=1m B=2m --save new.lagline-plan", "--help", "align --help", "take.lagline",
    "batch . --out new3 --workers 1",
    "batch . --out new4 --pattern {take}_{lane} --shard 1/2 --setup usual.lagline-setup --rate 48000",
)  # fmt: skip
WORDS = (
    *sorted({word for line in COMMAND_LINES for word in line.split()}),
    "demo", "-o", "-1", "0", "1e400", "nan", "inf", "-inf", "99999999999999999999", "-0", "0x10", "1/0",
    "9/2", "latest", "first", "original", "broken.lagline", "text.wav", "missing.wav", "{", "}", "{lane",
    "{lane!r}",
    "{lane:9999}", "{x}", "*", "Room=", "=3m", "Room=1e9m", "Room=nanm", "Room=1,2", "Room=1,2,3",
    "Room=2m@-6", "Room=2m@x", "Room=-1m", "Room:Close@0", "Room:Close@", "Room:Room@5", "é.wav", "\u202e",
    "<b>", "--", "-", "16", "24", "source", "8001", "7", "take.lagline.bak", "new", "x" * 300,
)  # fmt: skip


@cache
def command_seeds() -> tuple[bytes, ...]:
    return tuple(line.replace(" ", "\0").encode() for line in COMMAND_LINES)


@contextlib.contextmanager
def _in(place: Path) -> Iterator[None]:
    before = Path.cwd()
    os.chdir(place)
    try:
        yield
    finally:
        os.chdir(before)


@cache
def _command_line() -> Callable[[list[str], _NoDesk], int]:
    """The command line, made cheap to call often: its parser is built once."""
    import typer.main

    from lagline.cli.run import run

    typer.main.get_command = cache(typer.main.get_command)
    return run


def run_command(data: bytes) -> str:
    """Run a command line in a folder of its own; the word is its exit code."""
    words = [word for word in data.decode("utf-8", "replace").split("\0") if word]
    # The fuzzer may run as root: nothing outside the folder is ever named.
    if any(word.lstrip("-=~").startswith(("/", "~")) or ".." in word or "=/" in word for word in words):
        return "left out"
    if "demo" in words:
        return "left out"  # takes seconds, reads nothing from others
    place = command_folder()
    run = _command_line()
    from concurrent.futures import ThreadPoolExecutor

    from lagline.jobs import batch

    batch._pool = ThreadPoolExecutor  # processes cost half a second each
    out, err = io.StringIO(), io.StringIO()
    out.buffer = io.BytesIO()  # type: ignore[attr-defined]
    before = {path.name for path in place.iterdir()}
    with _in(place), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run(words, _NoDesk())
    for made in place.iterdir():
        if made.name not in before:
            shutil.rmtree(made) if made.is_dir() else made.unlink()
    said = err.getvalue()
    assert code in (0, 1, 2), f"exit code {code}"
    assert "Traceback" not in said and "inside Lagline" not in said, said
    assert code == 0 or said or out.getvalue(), "it failed without a word"
    return f"exit {code}"


def damaged_command(data: bytes, rng: random.Random, _others: Sequence[bytes] = ()) -> bytes:
    return damaged_words(data, rng, WORDS)


TARGETS = {
    target.name: target
    for target in (
        Target("audio files", audio_seeds, read_audio, damaged_bytes),
        Target("bext chunks", bext_seeds, read_bext, damaged_bytes),
        Target("cue chunks", cue_seeds, read_cue, damaged_bytes),
        Target("iXML chunks", ixml_seeds, read_ixml, damaged_bytes),
        Target("session files", session_seeds, read_session, damaged_json),
        Target("setup files", setup_seeds, read_setup, damaged_json),
        Target("plan files", plan_seeds, read_plan, damaged_json),
        Target("batch journals", journal_seeds, read_batch_journal, damaged_lines),
        Target("overview cache files", overview_seeds, read_overview, damaged_overview),
        Target("command lines", command_seeds, run_command, damaged_command),
    )
}
