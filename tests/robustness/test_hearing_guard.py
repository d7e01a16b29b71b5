"""A short run of random things done while it plays; the long one is the script beside this."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.robustness.hearing_guard import CEILING_DBFS, run
from tests.support.alsa_capture import require_portaudio

PROMISED_DB, UNSURE_DB = 6.0, 0.7  # of 200 ms of noise


def test_nothing_done_makes_it_louder_than_promised(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    require_portaudio()
    monkeypatch.setenv("ALSA_CONFIG_PATH", "")  # set by the run, and taken back after it
    outcome = run(tmp_path, actions=80, seed=5)
    assert outcome.rise_db <= PROMISED_DB + UNSURE_DB
    assert outcome.peak_dbfs <= CEILING_DBFS + 1e-4
    assert outcome.heard_s > 3.0 and len(outcome.counts) > 8
