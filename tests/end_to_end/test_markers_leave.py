"""Markers of a take are in everything that is delivered, read by code of others."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.support.click_take import write_click_take
from wavinfo import WavInfoReader

from lagline.deliver.options import DeliveryOptions
from lagline.jobs.hand_over import HandedOver, hand_over_take
from lagline.session.edits import with_shift
from lagline.session.markers import with_marker, with_marker_name
from lagline.session.values import Session

otio = pytest.importorskip("opentimelineio", reason="opentimelineio is not installed")
NAME = "Bridge, chorus"
EARLY = -240  # the first lane is moved so far ahead: the files begin there


@pytest.fixture
def take(tmp_path: Path) -> Session:
    take = write_click_take(tmp_path / "take", {"near": 0, "room": 96})
    marked = with_marker(with_marker(take, 4_800), 48_000, 72_000)
    named = with_marker_name(marked, marked.markers[1], NAME)
    return with_shift(named, named.lanes[0].id, EARLY)


def delivered(take: Session, folder: Path, **options: object) -> HandedOver:
    return hand_over_take(take, folder, "v1", DeliveryOptions(**options), edit="linked")  # type: ignore[arg-type]


def cues(path: Path) -> dict[str, int]:
    """Position of each cue point by its label, as wavinfo reads them."""
    told = WavInfoReader(str(path)).cues
    labels = {label.name: label.text for label in told.labels}
    return {labels[point.name]: point.sample_offset for point in told.cues}


@pytest.mark.parametrize("rate_hz", [None, 96_000])
def test_every_wav_has_them_as_cue_points(take: Session, tmp_path: Path, rate_hz: int | None) -> None:
    done = delivered(take, tmp_path / "out", rate_hz=rate_hz)
    waves = [path for path in done.paths if path.suffix == ".wav"]
    assert len(waves) == 4  # two lanes, two blends
    ratio = 2 if rate_hz else 1
    for path in waves:
        wanted = {"1": (4_800 - EARLY) * ratio, NAME: (48_000 - EARLY) * ratio}
        assert cues(path) == wanted, path.name


def test_both_timelines_have_them(take: Session, tmp_path: Path) -> None:
    done = delivered(take, tmp_path / "out")
    timelines = [path for path in done.paths if path.suffix == ".otio"]
    assert len(timelines) == 2
    for path in timelines:
        marks = otio.adapters.read_from_file(str(path)).tracks.markers
        assert [
            (mark.name, mark.marked_range.start_time.value, mark.marked_range.duration.value)
            for mark in marks
        ] == [("1", 4_800 - EARLY, 0), (NAME, 48_000 - EARLY, 24_000)]
