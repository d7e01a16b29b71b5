"""Lanes of different tone, and lanes whose phase is turned."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal
from tests.support.fake_clips import fake_take, shifted
from tests.support.scenario_sounds import broad, turned

from lagline.analysis.align import align
from lagline.analysis.options import AnalysisOptions

RATE = 48_000


def test_a_darker_microphone_does_not_hear_later() -> None:
    dry = broad(8.0, RATE, np.random.default_rng(1))
    dark = scipy.signal.sosfilt(scipy.signal.butter(4, 5000, fs=RATE, output="sos"), shifted(dry, 90.0))
    session, clips = fake_take({"line": dry, "mic": dark}, RATE)
    found = align(session, clips, AnalysisOptions(anchor="line")).finding("mic")
    assert found is not None
    # The filter itself delays by three to four samples where the sound is: that is tone, not distance.
    assert found.arrival_samples == pytest.approx(90.0, abs=1.0)


def test_a_quarter_turn_is_no_polarity() -> None:
    dry = broad(8.0, RATE, np.random.default_rng(2))
    session, clips = fake_take({"a": dry, "b": turned(shifted(dry, 55.0), 90.0)}, RATE)
    found = align(session, clips, AnalysisOptions(anchor="a")).finding("b")
    assert found is not None
    assert found.arrival_samples == pytest.approx(55.0, abs=0.2)
    assert found.polarity is None
    assert "not a yes-or-no" in found.sentence
    high = np.array(found.evidence.coherence_hz) > 1000
    phase = np.array(found.evidence.phase_rad)[high]
    assert np.abs(np.median(phase)) == pytest.approx(np.pi / 2, abs=0.15)
