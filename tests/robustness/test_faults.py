"""A fault at every operation on files: an error of ours, sources untouched, what was there still there."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace
from tests.support.faults import KINDS, failing, largest_file
from tests.support.takes import noise_take

from lagline.blend.clips import open_clips
from lagline.deliver.options import DeliveryOptions
from lagline.deliver.stems import write_stems
from lagline.errors import CannotWrite, FileMissing, LaglineError, SourceChanged
from lagline.jobs.hand_over import hand_over_take
from lagline.jobs.journal import Journal, TakeResult, read_journal
from lagline.jobs.open_take import open_take
from lagline.jobs.sources import source_problems
from lagline.jobs.verify import verify_delivery
from lagline.media.clip import Clip
from lagline.media.overview import build_overviews
from lagline.session.autosave import write_autosave
from lagline.session.plan import Plan, save_plan
from lagline.session.restore_points import restore_points
from lagline.session.setup import save_setup, setup_of
from lagline.session.storage import load, save
from lagline.session.values import Move, Version

VERSION = Version("v1", "Shifted", {"near": Move(10.0), "far": Move(0.4, -1)})


class Desk:
    """A folder with a take and everything that may be done with it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.session = replace(noise_take(folder / "take", frames=3_000), versions=(VERSION,))
        self.file = folder / "take.lagline"
        save(replace(self.session, notes="older"), self.file)
        save(self.session, self.file)  # so that there is a restore point
        self.sums = self.checksums()

    def checksums(self) -> dict[str, str]:
        return {
            path.name: hashlib.sha256(path.read_bytes()).hexdigest()
            for path in sorted((self.folder / "take").iterdir())
        }

    # what is done

    def save(self) -> None:
        save(replace(self.session, notes="new"), self.file)

    def autosave(self) -> None:
        write_autosave(self.session, self.file)

    def setup(self) -> None:
        save_setup(setup_of(self.session, VERSION, "Usual"), self.folder / "new.lagline-setup")

    def plan(self) -> None:
        save_plan(Plan(), self.folder / "new.lagline-plan")

    def journal(self) -> None:
        journal = Journal(self.folder / "batch", "asked")
        try:
            journal.add(TakeResult("take", "done"))
        finally:
            journal.close()
        read_journal(self.folder / "batch", "asked")

    def open(self) -> None:
        open_take([self.folder / "take"])

    def load(self) -> None:
        source_problems(load(self.file))

    def overview(self) -> None:
        build_overviews(self.session.lanes[0].source.path)

    def convert(self) -> None:
        Clip(self.session.lanes[0].source.path, 0, 44_100).read(0, 100)

    def stems(self) -> None:
        write_stems(self.session, VERSION, open_clips(self.session), self.folder / "new", DeliveryOptions())

    def flac(self) -> None:
        options = DeliveryOptions(file_format="FLAC", depth="24")
        write_stems(self.session, VERSION, open_clips(self.session), self.folder / "new", options)

    def hand_over(self) -> None:
        hand_over_take(self.session, self.folder / "new", "v1", DeliveryOptions(), level_matched=True)


WRITING = ("save", "autosave", "setup", "plan", "journal", "stems", "flac", "hand_over")
WORK = (*WRITING, "open", "load", "overview", "convert")


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    monkeypatch.setenv("LAGLINE_CACHE_DIR", str(tmp_path / "desk" / "cache"))
    monkeypatch.setenv("LAGLINE_STATE_DIR", str(tmp_path / "desk" / "state"))
    return Desk(tmp_path / "desk")


def leftovers(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*")}


def clear(desk: Desk, before: set[str]) -> None:
    for name in sorted(leftovers(desk.folder) - before, reverse=True):
        path = desk.folder / name
        shutil.rmtree(path) if path.is_dir() else path.unlink(missing_ok=True)


def check(desk: Desk, before: set[str], work: str, error: BaseException | None) -> None:
    assert desk.checksums() == desk.sums, "a source was touched"
    assert load(desk.file).lanes == desk.session.lanes, "the session file is damaged"
    assert all(load(point.path, folder=desk.folder).lanes for point in restore_points(desk.file))
    assert restore_points(desk.file)
    assert error is None or isinstance(error, LaglineError), f"{work}: {type(error).__name__}: {error}"
    if error is not None:
        assert str(error).endswith("."), "no sentence"


# A delivery does hundreds: every fifth here, each of them below libc in `delivery_faults.py`.
STEPS = {"hand_over": 5}


@pytest.mark.parametrize("work", WORK)
def test_every_operation_may_fail(desk: Desk, work: str, caplog: pytest.LogCaptureFixture) -> None:
    before, did = leftovers(desk.folder), getattr(desk, work)
    at, failed = 0, 0
    while True:
        error: BaseException | None = None
        with failing(at, KINDS[at % len(KINDS)], desk.folder) as happened:
            try:
                did()
            except Exception as caught:  # noqa: BLE001 - looked at in check
                error = caught
            came = happened()
        check(desk, before, work, error)
        clear(desk, before)
        if not came:
            assert error is None
            break
        at, failed = at + STEPS.get(work, 1), failed + (error is not None)
        assert at < 900
    assert at > 0, "nothing was made to fail"
    if work not in ("overview", "autosave"):  # a cache may fail in silence, an autosave has a second place
        assert failed > 0


@pytest.mark.parametrize(
    "work", ["save", "autosave", "setup", "plan", "journal", "stems", "flac", "hand_over"]
)
@pytest.mark.parametrize("size_bytes", [0, 1, 300, 2_000, 8_000])
def test_the_disk_is_full(desk: Desk, work: str, size_bytes: int) -> None:
    before = leftovers(desk.folder)
    error: BaseException | None = None
    with largest_file(size_bytes):
        try:
            getattr(desk, work)()
        except Exception as caught:  # noqa: BLE001 - looked at in check
            error = caught
    check(desk, before, work, error)
    if error is not None and work != "journal":
        left = {name for name in leftovers(desk.folder) - before if not name.startswith(("state", "cache"))}
        assert left <= {"new"}, f"half-written: {left}"
        assert not any((desk.folder / "new").glob("*"))
    if size_bytes == 0:
        assert isinstance(error, CannotWrite)


def test_a_journal_cut_off_by_a_full_disk_goes_on(desk: Desk) -> None:
    folder = desk.folder / "batch"
    journal = Journal(folder, "asked")
    journal.add(TakeResult("one", "done"))
    size = (folder / "journal.jsonl").stat().st_size
    with largest_file(size + 10), pytest.raises(CannotWrite):
        journal.add(TakeResult("two", "done"))
    journal.close()
    again = Journal(folder, "asked")
    again.add(TakeResult("two", "done"))
    again.close()
    assert [result.take for result in read_journal(folder, "asked")] == ["one", "two"]


@pytest.mark.parametrize("change", ["vanish", "grow", "shrink", "replace"])
def test_a_source_that_changes_while_it_is_read_makes_no_files(desk: Desk, change: str) -> None:
    path = desk.session.lanes[2].source.path
    clips = open_clips(desk.session)

    def disturb(fraction: float) -> None:
        if fraction < 0.3 or desk.folder.joinpath("disturbed").exists():
            return
        desk.folder.joinpath("disturbed").touch()
        if change == "vanish":
            path.unlink()
        elif change == "grow":
            with path.open("ab") as file:
                file.write(b"more")
        elif change == "shrink":
            with path.open("r+b") as file:
                file.truncate(1_000)
        else:
            other = path.with_name("other.wav")
            shutil.copy(desk.session.lanes[0].source.path, other)
            other.replace(path)

    with pytest.raises((FileMissing, SourceChanged)):
        write_stems(desk.session, VERSION, clips, desk.folder / "new", progress=disturb)
    assert not (desk.folder / "new").exists()


def test_a_clip_whose_file_shrinks_or_stalls_gives_silence_not_a_crash(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    from lagline.media.pcm import PcmSound

    shrinks, stalls = (Clip(lane.source.path, 0) for lane in desk.session.lanes[:2])
    assert shrinks.frames == stalls.frames == 3_000
    with shrinks.path.open("r+b") as file:
        file.truncate(2_000)
    samples = shrinks.read(0, 3_000)
    assert samples[:600].any() and not samples[700:].any()
    monkeypatch.setattr(PcmSound, "_load", _stalled)
    assert not stalls.read(0, 2_000).any()


def _stalled(self: object, frames: int) -> int:
    raise OSError(110, "Connection timed out")


NAMES = [
    "ta ke",
    "tête-à-tête",
    "録音",
    "a'b\"c",
    "new\nline",
    "-rf",
    "#1 100%",
    "a" * 240,
    "\U0001f3a4",
    "\udcff",
]


@pytest.mark.parametrize("name", NAMES)
def test_odd_names_work_from_opening_to_handing_over(tmp_path: Path, name: str) -> None:
    folder = tmp_path / name
    source = noise_take(tmp_path / "plain", frames=3_000).lanes[0].source.path
    folder.mkdir()
    for number in range(2):
        shutil.copy(source, folder / f"{name[:200]}{number}.wav")
    session = open_take([folder]).session
    file = folder / f"{name[:200]}.lagline"
    save(session, file)
    assert load(file) == session
    for edit in ("linked", "bundle"):
        done = hand_over_take(load(file), folder / edit, "v1", DeliveryOptions(), edit=edit)
        assert all(path.is_file() for path in done.paths)
        assert not any(one.problems for one in verify_delivery(folder / edit, [folder]))


def test_a_path_longer_than_the_system_takes_is_refused_in_words(desk: Desk) -> None:
    long = desk.folder / ("x" * 300)
    for work in (
        lambda: open_take([long]),
        lambda: load(long),
        lambda: save(desk.session, long),
        lambda: write_stems(desk.session, VERSION, open_clips(desk.session), long),
        lambda: read_journal(long, "asked") or Journal(long, "asked"),
    ):
        refused(work)


def refused(work: Callable[[], object]) -> None:
    with pytest.raises(LaglineError):
        work()


def test_the_test_sees_a_touched_source(desk: Desk) -> None:
    """The test of the tests."""
    path = desk.session.lanes[0].source.path
    data = np.frombuffer(path.read_bytes(), np.uint8).copy()
    data[-1] ^= 1
    path.write_bytes(data.tobytes())
    with pytest.raises(AssertionError, match="touched"):
        check(desk, leftovers(desk.folder), "open", None)
