"""Overviews and samples read in the background from real files."""

import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from lagline.desk.reading import overviews
from lagline.desk.reading.overviews import OverviewReader
from lagline.desk.reading.samples import SampleReader
from lagline.media.clip import Clip
from lagline.session.values import Session


def test_overviews_are_those_of_the_samples(qtbot: QtBot, take: Session) -> None:
    reader = OverviewReader()
    grown: dict[str, object] = {}
    reader.grown.connect(grown.__setitem__)
    with qtbot.waitSignal(reader.finished, timeout=10_000):
        reader.show_session(take)
    reader.close()
    assert set(grown) == {lane.id for lane in take.lanes}
    for lane in take.lanes:
        samples = Clip(lane.source.path, 0).read(0, 96_000).reshape(150, 640)
        lows, highs = grown[lane.id].columns(0, 96_000, 150)
        np.testing.assert_allclose(lows, samples.min(axis=1), atol=1e-6)
        np.testing.assert_allclose(highs, samples.max(axis=1), atol=1e-6)


def test_one_bad_file_is_named_and_the_rest_is_read(qtbot: QtBot, take: Session) -> None:
    take.lanes[0].source.path.unlink()
    reader = OverviewReader()
    told: list[str] = []
    reader.failed.connect(told.append)
    with qtbot.waitSignal(reader.finished, timeout=10_000) as done:
        reader.show_session(take)
    reader.close()
    assert len(told) == 1 and "near.wav is missing" in told[0]
    assert {path.name for path in done.args[0]} == {"side.wav", "room.wav"}


def test_a_defect_in_one_file_is_told_and_the_rest_is_read(
    qtbot: QtBot, take: Session, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    real = overviews.build_overviews

    def broken(path: Path, **named: Any) -> object:
        if path.name == "near.wav":
            raise ZeroDivisionError("made up")
        return real(path, **named)

    def no_sketch(path: Path) -> object:
        raise ZeroDivisionError("made up")

    monkeypatch.setattr(overviews, "build_overviews", broken)
    monkeypatch.setattr(overviews, "preview", no_sketch)
    reader = OverviewReader()
    told: list[str] = []
    reader.failed.connect(told.append)
    try:
        with qtbot.waitSignal(reader.finished, timeout=10_000) as done:
            reader.show_session(take)
    finally:
        reader.close()
    assert told == ["Reading near.wav failed (ZeroDivisionError: made up)."]
    assert not reader.is_busy
    assert {path.name for path in done.args[0]} == {"side.wav", "room.wav"}
    assert "The overview of near.wav failed" in caplog.text and "The sketch of" in caplog.text


def test_the_newest_wish_of_a_lane_wins(qtbot: QtBot, tmp_path: Path) -> None:
    reader = SampleReader()
    read: list[tuple[str, int, int]] = []

    def source(start: int, stop: int) -> np.ndarray:
        return np.arange(start, stop, dtype=np.float32)

    reader.read.connect(lambda lane_id, start, samples: read.append((lane_id, start, len(samples))))
    reader.set_sources({"near": source})
    for start in range(0, 1_000, 100):
        reader.ask("near", start, start + 50)
    reader.ask("unknown", 0, 10)
    qtbot.waitUntil(lambda: ("near", 900, 50) in read, timeout=5_000)
    reader.close()
    assert {lane_id for lane_id, _, _ in read} == {"near"}


def test_both_of_the_newest_wishes_are_read_and_may_be_wished_for_again(qtbot: QtBot) -> None:
    """A shifted lane wants its wave and its ghost; what was handed over and let go of is read anew."""
    reader = SampleReader()
    read: list[tuple[int, int]] = []
    go = threading.Event()

    def source(start: int, stop: int) -> np.ndarray:
        go.wait(5)
        return np.arange(start, stop, dtype=np.float32)

    reader.read.connect(lambda _lane_id, start, samples: read.append((start, len(samples))))
    reader.set_sources({"near": source})
    reader.ask("near", 0, 50)  # under way before the others come, or dropped for them
    for start in (100, 900, 100, 900):
        reader.ask("near", start, start + 50)
    go.set()
    qtbot.waitUntil(lambda: {(100, 50), (900, 50)} <= set(read), timeout=5_000)
    qtbot.wait(50)
    assert len(read) == len(set(read))
    reader.ask("near", 100, 150)
    qtbot.waitUntil(lambda: read.count((100, 50)) == 2, timeout=5_000)
    reader.close()
