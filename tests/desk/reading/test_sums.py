"""The drawn sum against the blend itself."""

import time

import numpy as np
import pytest
from msgspec.structs import replace
from pytestqt.qtbot import QtBot
from tests.support.sessions import session

from lagline.blend.mix import blend
from lagline.desk.reading.sums import (
    BIN,
    GIVE_WAY_S,
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
    assert what_sounds(take, version) != what_sounds(with_gain(take, "near", -1), version)
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
        time.sleep(0.01)
        return super().read(start, stop)


def test_a_sum_that_is_out_of_date_is_not_gone_on_with(qtbot: QtBot, take: Session) -> None:
    clips = {"near": Slow(1, 40 * TILE), "room": Slow(2, 40 * TILE)}
    reader = SumReader()
    reader.see(0, 40 * TILE)
    with qtbot.waitSignal(reader.started, timeout=5_000):
        reader.show(take, (ORIGINAL,), clips)
    qtbot.waitUntil(lambda: clips["near"].reads > 2, timeout=5_000)
    for step in range(1, 20):  # a hand that drags: the sum is made anew once it rests
        reader.show(nudged(take, "near", step), (ORIGINAL, nudged(take, "near", step).current_version), clips)
        qtbot.wait(10)
        if step == 5:
            before = clips["near"].reads
    assert clips["near"].reads == before
    with qtbot.waitSignal(reader.started, timeout=5_000):
        pass
    qtbot.waitUntil(lambda: clips["near"].reads > before, timeout=5_000)
    reader.close()


def test_a_sum_gives_way_while_the_view_moves(qtbot: QtBot, take: Session) -> None:
    clips = {"near": Slow(1, 200 * TILE), "room": Slow(2, 200 * TILE)}
    reader = SumReader()
    reader.see(0, 200 * TILE)
    with qtbot.waitSignal(reader.started, timeout=5_000):
        reader.show(take, (ORIGINAL,), clips)
    qtbot.waitUntil(lambda: clips["near"].reads > 2, timeout=5_000)
    begun, before = time.monotonic(), clips["near"].reads
    while time.monotonic() < begun + 1.5:
        reader.see(0, 200 * TILE + 100 * (time.monotonic() - begun))
        qtbot.wait(5)
    moving = clips["near"].reads - before
    assert moving < 1.5 / GIVE_WAY_S + 3  # a tile for each pause, and not one after the other
    assert moving > 1  # but it does go on
    reader.close()


def test_an_edit_that_is_taken_back_at_once_leaves_the_sum(qtbot: QtBot, take: Session) -> None:
    clips = {"near": Noise(1, 200_000), "room": Noise(2, 200_000)}
    reader = SumReader()
    tasks: list[SumTask] = []
    reader.started.connect(tasks.append)
    reader.see(0, 200_000)
    reader.show(take, (ORIGINAL, take.current_version), clips)
    qtbot.waitUntil(lambda: bool(tasks) and not reader.is_busy, timeout=5_000)
    further = nudged(take, "near", 5)
    reader.show(further, (ORIGINAL, further.current_version), clips)
    back = nudged(further, "near", -5)
    reader.show(back, (ORIGINAL, back.current_version), clips)
    assert reader.is_busy
    qtbot.waitUntil(lambda: not reader.is_busy, timeout=5_000)
    reader.close()
    assert len(tasks) == 1
