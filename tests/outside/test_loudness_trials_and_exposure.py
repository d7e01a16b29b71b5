"""Blind-trial statistics and exposure figures against published ones.

Sources: the table of least correct answers computed with scipy.stats.binom (one-sided, p = 1/2), and scipy's
exact binomial test and Clopper-Pearson interval; ISO 4120:2021 (triangle test), table of the least numbers of
correct responses, from memory of its quotations in textbooks; NIOSH publication 98-126 and WHO / ITU-T H.870
for exposure.
"""

from __future__ import annotations

import pytest

from lagline.playback import exposure
from lagline.playback.trial import confidence, guessing_probability, indifference_probability, least_right

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


TRIANGLE = {10: 7, 12: 8, 15: 9, 18: 10, 20: 11, 24: 13, 30: 15}  # at 5 %


@pytest.mark.parametrize(("planned", "right"), TRIANGLE.items())
def test_least_right_answers_of_the_triangle_test(planned: int, right: int):
    assert least_right(planned, 0.05, 1 / 3) == right


def test_scipy_agrees_on_intervals_and_on_one_of_three():
    stats = pytest.importorskip("scipy.stats")
    for planned in (5, 10, 16, 100):
        for count in range(planned + 1):
            exact = stats.binomtest(count, planned).proportion_ci(0.95, method="exact")
            assert confidence(count, planned) == pytest.approx((exact.low, exact.high), abs=1e-9)
            guess = stats.binomtest(count, planned, 1 / 3, alternative="greater").pvalue
            assert guessing_probability(count, planned, 1 / 3) == pytest.approx(guess, rel=1e-9)


def test_the_level_at_the_ear_is_what_was_typed_moved_by_what_leaves():
    assert exposure.ear_dba(-20.0, 74.0) == 74.0
    assert exposure.ear_dba(-9.0, 74.0) == pytest.approx(85.0)
    assert "8 h a day" in exposure.exposure_text(85.0) and "NIOSH" in exposure.exposure_text(85.0)
    assert "40 h a week" in exposure.exposure_text(80.0) and "WHO" in exposure.exposure_text(80.0)
    assert "No published limit" in exposure.exposure_text(70.0)
    assert "15 min a day" in exposure.exposure_text(100.0)


def test_exposure_times_halve_for_3_db():
    for limit in exposure.NIOSH_LIMITS:
        assert exposure.allowed_hours(limit.level_dba, 85.0, 8.0) == pytest.approx(limit.hours)
    for limit in exposure.WHO_LIMITS:
        assert exposure.allowed_hours(limit.level_dba, 80.0, 40.0) == pytest.approx(limit.hours)


def test_the_caution_defers_and_claims_no_measurement():
    assert "cannot know the sound level" in exposure.CAUTION
    assert "local rules" in exposure.CAUTION and "qualified" in exposure.CAUTION
