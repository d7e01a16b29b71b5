"""The take the guide tells to make: two recorders, seconds and parts per million apart, found as it says."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from tests.support import demo

from lagline.jobs.line_up import line_up
from lagline.jobs.open_take import open_take

SCRIPT = Path(demo.make_demo.__file__)


@pytest.mark.slow
def test_start_and_drift_are_found_without_help(tmp_path: Path) -> None:
    words = [sys.executable, str(SCRIPT), "--take", "two_recorders", "--out", str(tmp_path)]
    subprocess.run(words, check=True, timeout=280)
    take = tmp_path / "two_recorders"
    table = json.loads((take / "truth.json").read_text("utf-8"))
    truth = next(lane for lane in table["lanes"] if lane["name"] == "gallery")
    session = open_take(sorted(take.glob("*.flac"))).session
    finding = line_up(session).finding(session.lane_named("gallery").id)
    assert finding is not None and finding.arrival_samples is not None
    assert finding.arrival_samples == pytest.approx(truth["arrival_samples"], abs=1.0)
    assert finding.drift_ppm == pytest.approx(truth["drift_ppm"], abs=1.0)
    assert finding.polarity == truth["polarity"]
