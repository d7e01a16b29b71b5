"""Combinations measured and printed: each file is its combination, and the sheet says what is in it."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile
from msgspec.structs import replace
from tests.support.takes import noise_take

from lagline.blend.clips import open_clips
from lagline.blend.mix import blend
from lagline.combinations.cells import Cell, board_session, laid_out, parts_of
from lagline.deliver.options import DeliveryOptions
from lagline.errors import Cancelled, WouldOverwrite
from lagline.jobs.combine import hand_over_cells, measure_cells
from lagline.session.values import Balance, Move, Session, Version

LINED_UP = Version(
    "v1", "Lined up", {"near": Move(120.5), "far": Move(-30.0, -1)}, {"near": Balance(-9.0, -0.5)}
)
FLOAT = DeliveryOptions(depth="float", peak_dbtp=None)


@pytest.fixture
def session(tmp_path: Path) -> Session:
    return replace(noise_take(tmp_path / "in", frames=96_000), versions=(LINED_UP,))


def all_cells(session: Session) -> tuple[Cell, ...]:
    return laid_out(parts_of(session), ("original", "v1"))


def test_every_file_is_its_combination_and_all_are_equally_loud(tmp_path: Path, session: Session) -> None:
    cells = all_cells(session)
    done = hand_over_cells(session, cells, tmp_path / "out", FLOAT)
    paths = [path for path in done.paths if path.suffix == ".wav"]
    assert len(paths) == 14
    assert paths[0].name == "Invented take - blend - Near, as recorded.wav"
    assert paths[-1].name == "Invented take - blend - Near + Far + Room, Lined up.wav"
    board, meter = board_session(session, cells), pyloudnorm.Meter(48_000)
    clips = open_clips(board)
    start, stop = board.span(*board.versions)
    levels = []
    for cell, path in zip(cells, paths, strict=True):
        printed, _ = soundfile.read(path)
        heard = blend(board, board.version(cell.id), clips, start, stop - start).astype(np.float64)
        gain = float((printed * heard).sum() / (heard**2).sum())
        assert np.abs(printed - gain * heard).max() < 1e-6  # -120 dB
        levels.append(meter.integrated_loudness(printed))
    assert max(levels) - min(levels) < 0.1


def test_the_sheet_says_what_is_in_each_file(tmp_path: Path, session: Session) -> None:
    cells = [cell for cell in all_cells(session) if len(cell.parts) == 2 and cell.version_id == "v1"]
    done = hand_over_cells(session, cells, tmp_path / "out", FLOAT)
    table, text = (next(path for path in done.paths if path.suffix == end) for end in (".csv", ".txt"))
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["combination"], row["lane"]) for row in rows] == [
        ("Near + Far", "Near"), ("Near + Far", "Far"), ("Near + Room", "Near"), ("Near + Room", "Room"),
        ("Far + Room", "Far"), ("Far + Room", "Room"),
    ]  # fmt: skip
    assert {row["file"] for row in rows} == {path.name for path in done.paths if path.suffix == ".wav"}
    near, far = rows[:2]
    assert (near["shift_samples"], near["gain_db"], near["pan"]) == ("120.5", "-9.0", "-0.5")
    assert near["timing"] == "Lined up"
    assert (far["shift_samples"], far["polarity"]) == ("-30.0", "-1")
    said = text.read_text("utf-8")
    assert "Near: shifted +2.510 ms, -9.0 dB, 50% left" in said
    assert "Far: shifted -0.625 ms, flipped" in said


def test_nothing_is_written_over_or_left_half_done(tmp_path: Path, session: Session) -> None:
    cells = all_cells(session)[:2]
    out, seen = tmp_path / "out", [0.0]
    with pytest.raises(Cancelled):
        hand_over_cells(session, cells, out, FLOAT, progress=seen.append, cancelled=lambda: seen[-1] > 0.6)
    assert not out.exists()
    hand_over_cells(session, cells, out, FLOAT, progress=seen.append)
    assert seen[-1] == 1.0
    before = {path: path.read_bytes() for path in out.iterdir()}
    with pytest.raises(WouldOverwrite):
        hand_over_cells(session, cells, out, FLOAT)
    assert {path: path.read_bytes() for path in out.iterdir()} == before


def test_what_is_measured_is_the_loop_when_there_is_one(session: Session) -> None:
    cells = all_cells(session)
    whole = measure_cells(session, cells)
    half = measure_cells(replace(session, loop=(0, 40_000)), cells)
    assert whole.cells[0].loudness_lufs != half.cells[0].loudness_lufs
    assert [one.cell for one in whole.cells] == list(cells)
