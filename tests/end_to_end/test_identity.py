"""Recordings that are not what they were when the session was made: recognised, named, and found again."""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support.desk_door import NotedDesk
from tests.support.processes import started, wait_for
from tests.support.recordings import noise, recording
from tests.support.takes import noise_take

from lagline.cli.run import run
from lagline.errors import ChangedWhileRead
from lagline.jobs.line_up import line_up
from lagline.jobs.open_take import open_take
from lagline.jobs.sources import (
    as_they_are,
    found_again,
    pointed_to,
    source_problems,
    where_they_are,
    with_fingerprints,
)
from lagline.session.storage import load, save
from lagline.session.values import Session


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    noise_take(tmp_path / "take", frames=60_000)
    return tmp_path / "take"


@pytest.fixture
def session(folder: Path) -> Session:
    session = open_take([folder]).session
    save(session, folder / "take.lagline")
    return load(folder / "take.lagline")


def exchange(one: Path, other: Path) -> None:
    aside = one.with_name("aside")
    one.rename(aside)
    other.rename(one)
    aside.rename(other)


def swapped(folder: Path) -> None:
    exchange(folder / "Near.wav", folder / "Far.wav")


def renamed(folder: Path) -> None:
    (folder / "Near.wav").rename(folder / "Close mic.wav")


def recorded_again(folder: Path) -> None:
    recording(folder / "Near.wav", noise(60_000, seed=9))


def gone(folder: Path) -> None:
    (folder / "Near.wav").unlink()


CHANGES = [
    (swapped, ["Far.wav now holds the recording of Near, and its own is in Near.wav"]),
    (renamed, ["Near: its recording is no longer in Near.wav but in Close mic.wav"]),
    (recorded_again, ["Near: Near.wav has changed", "its sound is another"]),
    (gone, ["Near: Near.wav is missing"]),
]


@pytest.mark.parametrize(("change", "says"), CHANGES)
@pytest.mark.parametrize(
    "words", [["check"], ["render", "-o", "{folder}/out"], ["report", "-o", "{folder}/page.html"]]
)
def test_every_command_names_what_changed_and_writes_nothing(
    session: Session,
    folder: Path,
    change: Callable[[Path], None],
    says: list[str],
    words: list[str],
    capsys: pytest.CaptureFixture[str],
) -> None:
    change(folder)
    before = set(folder.iterdir())
    arguments = [word.format(folder=folder) for word in words]
    arguments.insert(1, str(folder / "take.lagline"))
    assert run(arguments, NotedDesk()) == 1
    printed = capsys.readouterr()
    for sentence in says:
        assert sentence in printed.out + printed.err
    assert set(folder.iterdir()) == before


def test_exchanged_recordings_are_given_back_to_their_lanes(session: Session, folder: Path) -> None:
    swapped(folder)
    problems = source_problems(session)
    assert {problem.lane_id for problem in problems} == {"lane-1", "lane-2"}
    mended = where_they_are(session, problems)
    assert source_problems(mended) == ()
    paths = {lane.name: lane.source.path.name for lane in mended.lanes}
    assert paths == {"Far": "Near.wav", "Near": "Far.wav", "Room": "Room.wav"}


def test_the_channels_of_one_file_may_be_exchanged_too(tmp_path: Path) -> None:
    sound = noise(60_000, channels=2, seed=1)
    path = recording(tmp_path / "pair.wav", sound)
    session = open_take([path]).session
    recording(path, sound[:, ::-1])
    mended = where_they_are(session, source_problems(session))
    assert [lane.source.channel for lane in mended.lanes] == [1, 0] and source_problems(mended) == ()


def test_a_turn_of_three_is_understood(session: Session, folder: Path) -> None:
    exchange(folder / "Near.wav", folder / "Far.wav")
    exchange(folder / "Far.wav", folder / "Room.wav")
    problems = source_problems(session)
    assert len(problems) == 3 and all(problem.now for problem in problems)
    assert source_problems(where_they_are(session, problems)) == ()


def test_another_recording_that_fits_can_be_taken_for_it(session: Session, folder: Path) -> None:
    recorded_again(folder)
    (problem,) = source_problems(session)
    assert problem.replaced and not problem.missing and problem.now is None
    assert source_problems(as_they_are(session, [problem])) == ()
    recording(folder / "Near.wav", noise(50_000, seed=9))
    (problem,) = source_problems(session)
    assert not problem.replaced, "what is decided on does not fit another length"
    assert as_they_are(session, [problem]) == session


def test_moved_and_renamed_recordings_are_found_by_what_they_hold(session: Session, folder: Path) -> None:
    other = folder.parent / "archive" / "1"
    other.mkdir(parents=True)
    for number, name in enumerate(("Near", "Far", "Room")):
        (folder / f"{name}.wav").rename(other / f"track {number}.wav")
        recording(other / f"{name}.wav", noise(60_000, seed=20 + number))  # impostors by name and size
    found = found_again(session, [lane.id for lane in session.lanes], folder.parent)
    assert source_problems(found) == ()
    names = {lane.name: lane.source.path.name for lane in found.lanes}
    assert names == {"Near": "track 0.wav", "Far": "track 1.wav", "Room": "track 2.wav"}


def test_a_copy_in_another_format_is_found(session: Session, folder: Path) -> None:
    import soundfile

    sound, rate_hz = soundfile.read(folder / "Near.wav", dtype="int32")
    soundfile.write(folder / "archived.flac", sound, rate_hz, subtype="PCM_24")
    gone(folder)
    found = found_again(session, ["lane-2"], folder)
    assert found.lane("lane-2").source.path.name == "archived.flac" and source_problems(found) == ()
    assert pointed_to(session, "lane-2", folder / "archived.flac") == found


def test_of_two_that_differ_only_where_nobody_looked_none_is_chosen(tmp_path: Path) -> None:
    """Blocks out of a long recording are looked at; where two files agree in all of them, all samples are."""
    sound = noise(400_000, seed=1)
    path = recording(tmp_path / "near.wav", sound)
    session = open_take([path]).session
    path.rename(tmp_path / "one.wav")
    shutil.copy(tmp_path / "one.wav", tmp_path / "two.wav")
    found = found_again(session, ["lane-1"], tmp_path)
    assert source_problems(found) == (), "the same twice is no question"
    sound[20_000] = 0.0
    recording(tmp_path / "two.wav", sound)
    (problem,) = source_problems(session)
    assert problem.now is None and problem.missing


def test_other_texts_in_a_recording_are_no_other_recording(session: Session, folder: Path) -> None:
    with (folder / "Near.wav").open("ab") as file:
        file.write(b"LIST\x04\x00\x00\x00INFO")
    assert source_problems(session) == ()


def test_a_session_from_before_gains_its_fingerprints(session: Session, folder: Path) -> None:
    lanes = tuple(replace(lane, source=replace(lane.source, fingerprint="")) for lane in session.lanes)
    old = replace(session, lanes=lanes)
    assert source_problems(old) == ()
    assert with_fingerprints(old) == session
    recording(folder / "Near.wav", noise(50_000, seed=9))
    assert with_fingerprints(old).lanes[1].source.fingerprint == ""


@pytest.mark.parametrize("format_name", ["wav", "flac"])
def test_a_recording_overwritten_while_it_is_delivered_is_noticed(tmp_path: Path, format_name: str) -> None:
    """The same size and the old time: only what was read can tell."""
    folder = tmp_path / "take"
    noise_take(folder, frames=3_000_000)
    session = open_take([folder]).session
    save(session, tmp_path / "take.lagline")
    path, out = folder / "Near.wav", tmp_path / "out"
    other = noise_take(tmp_path / "other", frames=3_000_000).lanes[2].source.path.read_bytes()
    before = path.stat()
    process = started("render", tmp_path / "take.lagline", "-o", out, "--format", format_name)
    wait_for(
        lambda: out.exists() and any(part.stat().st_size > 100_000 for part in out.rglob("*.part")), process
    )
    with path.open("r+b") as file:
        file.write(other)
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    said = process.communicate(timeout=120)[1]
    assert (path.stat().st_size, path.stat().st_mtime_ns) == (before.st_size, before.st_mtime_ns)
    assert process.returncode == 1 and "Near.wav has changed" in said and "changed while it was read" in said
    assert not out.exists()


def test_a_recording_that_changes_while_it_is_measured_is_noticed(session: Session, folder: Path) -> None:
    before = (folder / "Near.wav").stat()

    once = threading.Lock()

    def overwrite(_: float) -> None:
        if once.acquire(blocking=False):
            recorded_again(folder)
            os.utime(folder / "Near.wav", ns=(before.st_atime_ns, before.st_mtime_ns))

    with pytest.raises(ChangedWhileRead):
        line_up(session, progress=overwrite)
