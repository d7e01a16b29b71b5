"""The estimator against published bounds and other people's software, each named beside its check."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal
from tests.support.fake_clips import fake_take, shifted
from tests.support.scenarios import REPORTING_SEEDS, scenario

from lagline.analysis.align import align
from lagline.analysis.options import AnalysisOptions

RATE = 48_000


def test_delay_error_stays_near_the_bound() -> None:
    """A. Quazi, "An overview on the time delay estimate in active and passive systems for target
    localization", IEEE Trans. ASSP 29(3), 1981, 527-533 (formula from memory): equal signal to noise `s` in
    both lanes, flat from f1 to f2: variance >= 3 / (8 pi^2 T) (1 + 2 s) / s^2 / (f2^3 - f1^3) seconds^2.
    """
    seconds, ratio = 3.0, 1.0
    bound_s = np.sqrt(3 / (8 * np.pi**2 * seconds) * (1 + 2 * ratio) / ratio**2 / (0.47 * RATE) ** 3)
    errors = []
    for seed in range(10):
        rng = np.random.default_rng(seed)
        dry = rng.standard_normal(round(seconds * RATE))
        delay = float(rng.uniform(-40, 40))
        a = dry + rng.standard_normal(len(dry))
        b = shifted(dry, delay) + rng.standard_normal(len(dry))
        session, clips = fake_take({"a": 0.05 * a, "b": 0.05 * b}, RATE)
        found = align(session, clips, AnalysisOptions(anchor="a")).finding("b")
        assert found is not None and found.arrival_samples is not None
        errors.append(found.arrival_samples - delay)
    # Ten trials: the rms of so few scatters by a fifth.
    assert np.sqrt(np.mean(np.square(errors))) < 2.0 * bound_s * RATE


def test_coherence_is_the_one_of_scipy() -> None:
    """scipy.signal.coherence (Welch) of lanes that share half of their power: 0.25 everywhere."""
    rng = np.random.default_rng(1)
    dry = rng.standard_normal(10 * RATE)
    a, b = dry + rng.standard_normal(len(dry)), dry + rng.standard_normal(len(dry))
    session, clips = fake_take({"a": 0.05 * a, "b": 0.05 * b}, RATE)
    found = align(session, clips, AnalysisOptions(anchor="a")).finding("b")
    assert found is not None
    hz, theirs = scipy.signal.coherence(a, b, RATE, nperseg=4096)
    high = np.array(found.evidence.coherence_hz) > 500
    ours = np.array(found.evidence.coherence)[high]
    assert ours.mean() == pytest.approx(theirs[hz > 500].mean(), abs=0.03)


@pytest.mark.parametrize("number", range(4))
def test_rooms_of_known_geometry(number: int) -> None:
    """pyroomacoustics (image sources): the arrival is the difference of two straight ways."""
    take = scenario("rooms", number, REPORTING_SEEDS[0])
    session, clips = fake_take(take.lanes, take.rate_hz)
    found = align(session, clips, AnalysisOptions(anchor=take.anchor)).finding("b")
    truth = take.truth["b"]
    assert found is not None and found.arrival_samples is not None and truth.arrivals is not None
    assert found.arrival_samples == pytest.approx(truth.arrivals[0], abs=1.0)
    assert found.polarity == truth.polarity
