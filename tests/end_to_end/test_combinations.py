"""A close microphone, a far one and a direct line: lined up, every combination compared and printed."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile

from lagline.analysis.options import AnalysisOptions
from lagline.combinations.cells import laid_out, parts_of, with_cell_kept
from lagline.combinations.words import told
from lagline.deliver.options import DeliveryOptions
from lagline.jobs.combine import hand_over_cells, measure_cells
from lagline.jobs.decide import measured_and_accepted
from lagline.jobs.open_take import open_take
from lagline.session.storage import load, save

RATE_HZ = 48_000
SPEED_M_S = 343.2  # in air of 20 degrees C, ISO 9613-1
NEAR_M, FAR_M = 0.30, 0.75


def plucked(seconds: float) -> np.ndarray:
    """Plucked strings after K. Karplus and A. Strong (1983): bursts of noise in loops that average."""
    rng = np.random.default_rng(4)
    out = np.zeros(round(seconds * RATE_HZ))
    for start_s in np.arange(0.3, seconds - 1.0, 0.37):
        period = int(rng.integers(150, 500))
        loop = rng.standard_normal(period)
        note = np.empty(RATE_HZ)
        for at in range(0, RATE_HZ, period):
            note[at : at + period] = loop[: len(note[at : at + period])]
            loop = 0.996 * 0.5 * (loop + np.roll(loop, 1))
        first = round(start_s * RATE_HZ)
        out[first : first + RATE_HZ] += 0.05 * note[: len(out) - first]
    return out


def take(folder: Path) -> list[Path]:
    """The close microphone hears the string 0.30 m away, the far one 0.75 m away, the line at once."""
    folder.mkdir()
    sound, paths = plucked(8.0), []
    spectrum = np.fft.rfft(sound)
    turns = -2j * np.pi * np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    rng = np.random.default_rng(5)
    for name, metres, level in (("close", NEAR_M, 1.0), ("far", FAR_M, 0.8), ("line", 0.0, 0.9)):
        late = np.fft.irfft(spectrum * np.exp(turns * metres / SPEED_M_S), len(sound))
        paths.append(folder / f"{name}.wav")
        noise = 1e-4 * rng.standard_normal(len(sound))
        soundfile.write(paths[-1], level * late + noise, RATE_HZ, subtype="PCM_24")
    return paths


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
