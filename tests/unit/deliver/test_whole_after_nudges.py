"""Ten nudges of a tenth are a whole sample: the file is copied, as the blend copies it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile
from tests.support.recordings import noise, recording

from lagline.deliver.options import DeliveryOptions
from lagline.jobs.hand_over import hand_over_take
from lagline.jobs.open_take import open_take
from lagline.session import edits


def test_ten_nudges_of_a_tenth_copy_the_recording(tmp_path: Path) -> None:
    source = recording(tmp_path / "near.wav", noise(4800, seed=1))
    recording(tmp_path / "far.wav", noise(4800, seed=2))
    session = open_take([source, tmp_path / "far.wav"]).session
    lane = session.lane_named("near").id
    for _ in range(10):
        session = edits.nudged(session, lane, 0.1)
    assert session.current_version.move(lane).shift_samples != 1.0
    hand_over_take(session, tmp_path / "out", "v1", DeliveryOptions())
    (file,) = (tmp_path / "out" / "aligned").glob("*near*.wav")
    written = soundfile.read(file, dtype="int32")[0]
    assert np.array_equal(written[1:4801], soundfile.read(source, dtype="int32")[0])
