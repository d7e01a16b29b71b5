"""The drawn sum against the blend itself."""

import threading
import time
from collections.abc import Iterator, Mapping

import numpy as np
import pytest
from msgspec.structs import replace
from pytestqt.qtbot import QtBot
from tests.support.sessions import session

from lagline.blend.mix import blend
from lagline.desk.reading import sums
from lagline.desk.reading.sums import (
    BIN,
    TILE,
    SumBins,
    SumReader,
    SumTask,
    folded,
    tile_order,
    what_sounds,
)
from lagline.session.edits import nudged, with_gain
from lagline.session.values import ORIGINAL, Session


class Noise:
    """A clip of noise that starts at 0; silence outside."""

    rate_hz = 48_000

    def __init__(self, seed: int, frames: int) -> None:
        self.samples = np.random.default_rng(seed).normal(0, 0.2, frames).astype(np.float32)

    def read(self, start: int, stop: int) -> np.ndarray:
        out = np.zeros(stop - start, np.float32)
        a, b = max(start, 0), min(stop, len(self.samples))
        if a < b:
            out[a - start : b - start] = self.samples[a:b]
        return out


@pytest.fixture
def clips() -> dict[str, Noise]:
    return {"near": Noise(1, 200_000), "room": Noise(2, 200_000)}


@pytest.fixture
def take() -> Session:
    return nudged(session(frames=200_000), "near", 96)


def test_bins_are_the_extremes_of_the_blend(qtbot: QtBot, take: Session, clips: dict[str, Noise]) -> None:
    reader = SumReader()
    tasks: list[SumTask] = []
    reader.started.connect(tasks.append)
    reader.see(0, 200_000)
    reader.show(take, (ORIGINAL, take.current_version), clips)
    qtbot.waitUntil(lambda: bool(tasks) and not reader.is_busy, timeout=10_000)
    reader.close()
    for version, bins in zip(tasks[0].versions, tasks[0].bins, strict=True):
        whole = folded(blend(take, version, clips, 0, 195 * BIN * 4)).reshape(-1, BIN * 4)
        lows, highs = bins.columns(0, 195 * BIN * 4, 195)
        np.testing.assert_array_equal(lows, whole.min(axis=1))
        np.testing.assert_array_equal(highs, whole.max(axis=1))


def test_only_what_is_in_view_is_rendered(qtbot: QtBot, take: Session, clips: dict[str, Noise]) -> None:
    reader = SumReader()
    tasks: list[SumTask] = []
    reader.started.connect(tasks.append)
    reader.see(0, TILE - 1)
    reader.show(take, (ORIGINAL,), clips)
    qtbot.waitUntil(lambda: bool(tasks) and not reader.is_busy, timeout=10_000)
    assert tasks[0].bins[0].highs[: TILE // BIN].all()
    assert not tasks[0].bins[0].highs[TILE // BIN :].any()
    reader.see(0, 200_000)
    qtbot.waitUntil(lambda: not reader.is_busy, timeout=10_000)
    reader.close()
    assert tasks[0].bins[0].highs[200_000 // BIN - 1]


def test_what_cannot_be_heard_is_not_rendered_again(take: Session) -> None:
    version = take.current_version
    assert what_sounds(take, version) == what_sounds(replace(take, notes="x", loop=(1, 2)), version)
    quieter = with_gain(take, "near", -1)
    assert what_sounds(take, version) != what_sounds(quieter, quieter.current_version)
    assert what_sounds(take, take.original) != what_sounds(quieter, quieter.original)
    assert what_sounds(take, version) != what_sounds(take, ORIGINAL)


def test_every_tile_comes_once() -> None:
    assert sorted(tile_order(3, 70)) == list(range(3, 71))
    assert list(tile_order(0, 0)) == [0]


def test_outside_it_is_silent() -> None:
    bins = SumBins(1_000)
    bins.put(0, np.ones(TILE, np.float32))
    lows, highs = bins.columns(-2_000, -1_000, 10)
    assert not lows.any() and not highs.any()
    assert bins.columns(10 * TILE, 11 * TILE, 5)[1].sum() == 0


def test_a_recording_that_cannot_be_read_is_told(qtbot: QtBot, take: Session) -> None:
    from lagline.errors import FileMissing

    class Gone(Noise):
        def read(self, start: int, stop: int) -> np.ndarray:
            raise FileMissing(take.lanes[0].source.path)

    reader = SumReader()
    reader.see(0, 1_000)
    with qtbot.waitSignal(reader.failed, timeout=5_000) as told:
        reader.show(take, (ORIGINAL,), {"near": Gone(1, 10), "room": Noise(2, 10)})
    reader.close()
    assert "near.wav is missing" in told.args[0]


class Slow(Noise):
    """A clip that counts how often it is read, and takes its time."""

    reads = 0

    def read(self, start: int, stop: int) -> np.ndarray:
        self.reads += 1
        time.sleep(0.005)
        return super().read(start, stop)


TILES = 60


@pytest.fixture
def long_take() -> Session:
    return nudged(session(frames=TILES * TILE), "near", 96)


@pytest.fixture
def slow() -> dict[str, Slow]:
    return {"near": Slow(1, TILES * TILE), "room": Slow(2, TILES * TILE)}


@pytest.fixture
def reader(qtbot: QtBot) -> Iterator[SumReader]:
    reader = SumReader()
    yield reader
    reader.close()


def begin(reader: SumReader, take: Session, clips: Mapping[str, Slow], qtbot: QtBot) -> None:
    """The sum of the original is being made, and far from done."""
    with qtbot.waitSignal(reader.started, timeout=5_000):
        reader.show(take, (ORIGINAL,), clips)
    qtbot.waitUntil(lambda: clips["near"].reads > 2, timeout=5_000)


def test_a_sum_that_is_out_of_date_is_not_gone_on_with(
    qtbot: QtBot, reader: SumReader, long_take: Session, slow: dict[str, Slow]
) -> None:
    reader.see(0, TILES * TILE)
    begin(reader, long_take, slow, qtbot)
    reader._rest.setInterval(60_000)  # a hand that does not come to rest
    edited = nudged(long_take, "near", 5)
    reader.show(edited, (ORIGINAL, edited.current_version), slow)
    qtbot.wait(300)  # a tile that was under way
    before = slow["near"].reads
    qtbot.wait(300)
    assert slow["near"].reads == before < TILES - 10
    assert reader.is_busy
    with qtbot.waitSignal(reader.started, timeout=5_000):
        reader._rest.start(0)
    qtbot.waitUntil(lambda: slow["near"].reads > before, timeout=5_000)


def test_a_sum_waits_while_the_view_moves(
    qtbot: QtBot,
    reader: SumReader,
    long_take: Session,
    slow: dict[str, Slow],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    reader.see(0, TILES * TILE)
    begin(reader, long_take, slow, qtbot)
    monkeypatch.setattr(sums, "STILL_S", 60.0)
    monkeypatch.setattr(sums, "GIVE_WAY_S", 60.0)
    reader.see(0, TILES * TILE + 1)
    qtbot.wait(300)  # a tile that was under way
    before = slow["near"].reads
    qtbot.wait(300)
    assert slow["near"].reads == before < TILES - 10
    monkeypatch.setattr(sums, "STILL_S", 0.0)
    reader.see(0, TILES * TILE)
    qtbot.waitUntil(lambda: not reader.is_busy, timeout=10_000)


def test_a_sum_goes_on_though_the_view_never_rests(
    qtbot: QtBot,
    reader: SumReader,
    long_take: Session,
    slow: dict[str, Slow],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sums, "STILL_S", 60.0)
    monkeypatch.setattr(sums, "GIVE_WAY_S", 0.01)
    reader.see(0, TILES * TILE)
    reader.show(long_take, (ORIGINAL,), slow)
    qtbot.waitUntil(lambda: slow["near"].reads >= TILES, timeout=20_000)


def test_an_edit_that_is_taken_back_at_once_leaves_the_sum(
    qtbot: QtBot, reader: SumReader, long_take: Session, slow: dict[str, Slow]
) -> None:
    tasks: list[SumTask] = []
    reader.started.connect(tasks.append)
    reader.see(0, TILES * TILE)
    begin(reader, long_take, slow, qtbot)
    edited = nudged(long_take, "near", 5)
    reader.show(edited, (ORIGINAL, edited.current_version), slow)
    reader.show(long_take, (ORIGINAL,), slow)
    qtbot.waitUntil(lambda: not reader.is_busy, timeout=10_000)
    assert len(tasks) == 1
    assert reader._done.all()


def test_a_view_that_lies_before_everything_wants_nothing(
    qtbot: QtBot, reader: SumReader, take: Session, clips: dict[str, Noise]
) -> None:
    reader.see(-5 * TILE, -2 * TILE)
    with qtbot.waitSignal(reader.started, timeout=5_000):
        reader.show(take, (ORIGINAL,), clips)
    qtbot.wait(50)
    assert not reader.is_busy
    reader.see(0, 200_000)
    qtbot.waitUntil(lambda: not reader.is_busy, timeout=5_000)
    assert reader._done.all()


class Broken(Slow):
    """A clip that cannot be read until it is mended."""

    is_broken = True

    def read(self, start: int, stop: int) -> np.ndarray:
        samples = super().read(start, stop)
        if self.is_broken:
            raise ValueError("this clip is broken")
        return samples


def test_what_failed_is_tried_again_with_the_next_edit_though_it_is_taken_back(
    qtbot: QtBot, reader: SumReader, take: Session
) -> None:
    clips = {"near": Broken(1, 200_000), "room": Slow(2, 200_000)}
    reader.see(0, 200_000)
    with qtbot.waitSignal(reader.failed, timeout=5_000):
        reader.show(take, (ORIGINAL,), clips)
    clips["near"].is_broken = False
    edited = nudged(take, "near", 5)
    reader.show(edited, (ORIGINAL, edited.current_version), clips)
    reader.show(take, (ORIGINAL,), clips)
    qtbot.waitUntil(lambda: not reader.is_busy, timeout=5_000)
    assert len(reader._done) and reader._done.all()


def test_the_failure_of_an_old_tile_leaves_the_new_sum(
    qtbot: QtBot, reader: SumReader, take: Session
) -> None:
    held = threading.Event()

    class Held(Noise):
        def read(self, start: int, stop: int) -> np.ndarray:
            held.wait(10)
            raise ZeroDivisionError

    told: list[str] = []
    reader.failed.connect(told.append)
    reader.see(0, 200_000)
    with qtbot.waitSignal(reader.started, timeout=5_000):
        reader.show(take, (ORIGINAL,), {"near": Held(1, 10), "room": Noise(2, 10)})
    with qtbot.waitSignal(reader.started, timeout=5_000):
        reader.show(take, (ORIGINAL,), {"near": Noise(1, 200_000), "room": Noise(2, 200_000)})
    held.set()
    qtbot.waitUntil(lambda: not reader.is_busy, timeout=5_000)
    assert reader._done.all()
    assert told == []


def test_the_copy_of_a_version_has_a_sum_of_its_own(
    qtbot: QtBot, reader: SumReader, take: Session, clips: dict[str, Noise]
) -> None:
    tasks: list[SumTask] = []
    reader.started.connect(tasks.append)
    reader.see(0, 200_000)
    reader.show(take, (ORIGINAL, take.current_version), clips)
    qtbot.waitUntil(lambda: bool(tasks) and not reader.is_busy, timeout=5_000)
    copy = replace(take.current_version, id="v2")
    reader.show(take, (ORIGINAL, copy), clips)
    qtbot.waitUntil(lambda: not reader.is_busy, timeout=5_000)
    assert [version.id for version in tasks[-1].versions] == ["original", "v2"]
