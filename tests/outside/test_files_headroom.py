"""The headroom of delivered blends against meters from outside.

True peak and loudness: the ebur128 filter of FFmpeg (4x oversampling, ITU-R BS.1770). Loudness: pyloudnorm,
which knows no true peak. Within 0.1 dB and 0.1 LU.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import warnings
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile
from tests.support import real_takes
from tests.support.takes import lane_on_disk

from lagline.deliver.options import DeliveryOptions
from lagline.jobs.hand_over import hand_over_take
from lagline.jobs.open_take import open_take
from lagline.media.probe import probe
from lagline.session.values import Balance, Move, Session, Version

TARGET_DBTP, WITHIN = -1.0, 0.1


def loud_session(folder: Path) -> Session:
    """Low-passed noise with strokes, in three lanes that add up to far more than full scale."""
    rng = np.random.default_rng(3)
    folder.mkdir()
    time = np.arange(6 * 48_000) / 48_000
    strokes = np.exp(-8.0 * (time % 0.5))
    lanes = []
    for number, name in enumerate(("near", "far", "room")):
        smooth = np.convolve(rng.standard_normal(len(time)), np.hanning(9 + 4 * number), mode="same")
        sound = 0.9 * strokes * smooth / np.abs(smooth).max()
        lanes.append(lane_on_disk(folder / f"{name}.wav", sound.astype(np.float32)))
    version = Version("v1", "Shifted", {"near": Move(12.34, -1)}, {lane.id: Balance(9.0) for lane in lanes})
    return Session(48_000, tuple(lanes), name="Loud", anchor_id="room", versions=(version,))


def ebur128(path: Path) -> tuple[float, float]:
    """Integrated loudness in LUFS and true peak in dBTP as FFmpeg reads them."""
    command = ["ffmpeg", "-nostdin", "-hide_banner", "-nostats", "-i", str(path)]
    done = subprocess.run(
        [*command, "-af", "ebur128=peak=true", "-f", "null", "-"], capture_output=True, text=True, check=True
    )
    summary = done.stderr.rpartition("Summary:")[2]
    loudness = re.search(r"I:\s+(-?[\d.]+) LUFS", summary)
    peak = re.search(r"True peak:\s+Peak:\s+(-?[\d.]+) dBFS", summary)
    assert loudness and peak, done.stderr
    return float(loudness[1]), float(peak[1])


def checked(folder: Path, session: Session) -> None:
    done = hand_over_take(session, folder, session.current_version_id, DeliveryOptions())
    blends = [path for path in done.paths if "blend" in path.name]
    peaks = []
    for path in blends:
        samples, rate_hz = soundfile.read(path, always_2d=True)
        bext = probe(path).bext
        assert bext is not None and bext.loudness_lufs is not None and bext.max_true_peak_dbtp is not None
        assert np.abs(samples).max() < 1.0
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # pyloudnorm's own, on samples above full scale
            outside = pyloudnorm.Meter(rate_hz).integrated_loudness(samples)
        assert bext.loudness_lufs == pytest.approx(outside, abs=WITHIN)
        peaks.append(bext.max_true_peak_dbtp)
        if shutil.which("ffmpeg") is not None:
            loudness, peak = ebur128(path)
            assert bext.loudness_lufs == pytest.approx(loudness, abs=WITHIN)
            assert peak == pytest.approx(bext.max_true_peak_dbtp, abs=WITHIN)
            assert peak <= TARGET_DBTP + WITHIN
    assert len(blends) == 2
    assert max(peaks) <= TARGET_DBTP + 0.005  # two decimals in the file


def test_a_loud_take(tmp_path: Path) -> None:
    checked(tmp_path / "out", loud_session(tmp_path / "in"))


@pytest.mark.real_takes
@pytest.mark.parametrize("name", ["kitB_hihatopen_phrase_8mics", "drums_kick_7mics"])
def test_real_takes_that_clipped(tmp_path: Path, name: str) -> None:
    checked(tmp_path / "out", open_take(real_takes.take(name)).session)
