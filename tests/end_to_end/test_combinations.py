"""A close microphone, a far one and a direct line: lined up, every combination compared and printed."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pyloudnorm
import pytest
import soundfile
from tests.support.close_far_line import FAR_M, NEAR_M, RATE_HZ, SPEED_M_S, take

from lagline.analysis.options import AnalysisOptions
from lagline.combinations.cells import laid_out, parts_of, with_cell_kept
from lagline.combinations.words import told
from lagline.deliver.options import DeliveryOptions
from lagline.jobs.combine import hand_over_cells, measure_cells
from lagline.jobs.decide import measured_and_accepted
from lagline.jobs.open_take import open_take
from lagline.session.storage import load, save


def by_ffmpeg(path: Path) -> float:
    """Integrated loudness as the ebur128 filter of FFmpeg reads it, LUFS to a tenth."""
    command = ["ffmpeg", "-nostdin", "-hide_banner", "-nostats", "-i", str(path), "-af", "ebur128"]
    done = subprocess.run([*command, "-f", "null", "-"], capture_output=True, text=True, check=True)
    found = re.search(r"I:\s+(-?[\d.]+) LUFS", done.stderr.rpartition("Summary:")[2])
    assert found, done.stderr
    return float(found[1])


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="the second meter is FFmpeg's")
def test_fourteen_blends_of_three_paths_are_told_apart_and_handed_over(tmp_path: Path) -> None:
    session = measured_and_accepted(open_take(take(tmp_path / "take")).session, AnalysisOptions()).session
    cells = laid_out(parts_of(session), ("original", session.current_version_id))
    assert len(cells) == 14
    board = measure_cells(session, cells)
    both = {one.cell.version_id: one for one in board.cells if one.cell.name == "close + far"}
    recorded, lined_up = both["original"], both[session.current_version_id]

    # The two cancel first where half a wave fits into the difference of their ways.
    first_hz = SPEED_M_S / (2 * (FAR_M - NEAR_M))
    notch = min(recorded.notches, key=lambda one: abs(one.frequency_hz - first_hz))
    assert notch.frequency_hz == pytest.approx(first_hz, rel=0.02)
    assert not [one for one in lined_up.notches if abs(one.frequency_hz / first_hz - 1) < 0.1]
    assert lined_up.ripple_db < 0.2 < 3.0 < recorded.ripple_db
    assert "fills " in told(lined_up, recorded, board.bands_hz)

    done = hand_over_cells(session, cells, tmp_path / "out", DeliveryOptions())
    files = [path for path in done.paths if path.suffix == ".wav"]
    assert len(files) == 14
    meter = pyloudnorm.Meter(RATE_HZ)
    levels = [meter.integrated_loudness(soundfile.read(path)[0]) for path in files]
    assert max(levels) - min(levels) < 0.1
    read = [by_ffmpeg(path) for path in files]
    assert max(read) - min(read) < 0.11  # tenths are all it prints

    kept = with_cell_kept(session, lined_up.cell, "What we took")
    save(kept, tmp_path / "take.lagline")
    assert load(tmp_path / "take.lagline") == kept
