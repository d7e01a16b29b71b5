"""Blind-trial statistics and exposure figures against published ones.

Sources: the table of least correct answers computed with scipy.stats.binom (one-sided, p = 1/2), and scipy's
exact binomial test; NIOSH publication 98-126 and WHO / ITU-T H.870 for exposure.
"""

from __future__ import annotations

import pytest

from lagline.playback import exposure
from lagline.playback.trial import guessing_probability, indifference_probability, least_right

LEAST_RIGHT = {
    0.05: (7, 8, 9, 9, 10, 10, 11, 12, 12, 13, 13, 14, 15, 15, 16, 16, 17, 18),
    0.01: (8, 9, 10, 10, 11, 12, 12, 13, 14, 14, 15, 15, 16, 17, 17, 18, 19, 19),
}


@pytest.mark.parametrize("level", LEAST_RIGHT)
def test_least_right_answers_for_8_to_25_trials(level: float):
    assert tuple(least_right(planned, level) for planned in range(8, 26)) == LEAST_RIGHT[level]


@pytest.mark.parametrize(
    "right, planned, probability",
    [(12, 16, 0.0384), (14, 16, 0.0021), (9, 10, 0.0107), (7, 8, 0.0352), (5, 5, 0.03125)],
)
def test_tabulated_probabilities(right: int, planned: int, probability: float):
    assert guessing_probability(right, planned) == pytest.approx(probability, abs=5e-5)


def test_scipy_agrees_for_every_count():
    stats = pytest.importorskip("scipy.stats")
    for planned in (5, 10, 16, 25):
        for count in range(planned + 1):
            one = stats.binomtest(count, planned, 0.5, alternative="greater").pvalue
            two = stats.binomtest(count, planned, 0.5).pvalue
            assert guessing_probability(count, planned) == pytest.approx(one, rel=1e-12)
            assert indifference_probability(count, planned) == pytest.approx(two, rel=1e-12)


def test_exposure_times_halve_for_3_db():
    for limit in exposure.NIOSH_LIMITS:
        assert exposure.allowed_hours(limit.level_dba, 85.0, 8.0) == pytest.approx(limit.hours)
    for limit in exposure.WHO_LIMITS:
        assert exposure.allowed_hours(limit.level_dba, 80.0, 40.0) == pytest.approx(limit.hours)


def test_the_caution_defers_and_claims_no_measurement():
    assert "cannot know the sound level" in exposure.CAUTION
    assert "local rules" in exposure.CAUTION and "qualified" in exposure.CAUTION
