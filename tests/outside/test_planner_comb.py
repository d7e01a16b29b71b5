"""Notches and peaks of planned pairs against the two-path comb filter's textbook figures.

|1 + g exp(-j w t)|^2 = 1 + g^2 + 2 g cos(w t): nulls at (2k+1)/(2t), peaks at k/t, swapped when inverted
(any acoustics handbook); the table of levels was checked with scipy.signal.freqz.
"""

from __future__ import annotations

import pytest

from lagline.jobs.plan import pairs
from lagline.session.plan import Plan, PlannedLane


def pair_of(delay_ms: float, level_db: float = 0.0, polarity: int = 1):  # type: ignore[no-untyped-def]
    lanes = (
        PlannedLane("direct"),
        PlannedLane("late", latency_ms=delay_ms, level_db=level_db, polarity=polarity),
    )
    return pairs(Plan(lanes=lanes))[0]


@pytest.mark.parametrize(
    ("delay_ms", "nulls", "peaks"),
    [
        (0.1, [5000, 15000], [10000, 20000]),
        (0.5, [1000, 3000, 5000], [2000, 4000]),
        (1.0, [500, 1500, 2500], [1000, 2000]),
        (2.0, [250, 750, 1250], [500, 1000]),
        (10.0, [50, 150, 250], [100, 200]),
    ],
)
def test_places(delay_ms: float, nulls: list[float], peaks: list[float]) -> None:
    upright, inverted = pair_of(delay_ms).comb, pair_of(delay_ms, polarity=-1).comb
    assert upright.notches_hz[: len(nulls)] == pytest.approx(nulls)
    assert upright.peaks_hz[: len(peaks)] == pytest.approx(peaks)
    assert inverted.peaks_hz[: len(nulls)] == pytest.approx(nulls)
    assert inverted.notches_hz[: len(peaks)] == pytest.approx(peaks)


@pytest.mark.parametrize(
    ("below_db", "peak_db", "notch_db", "ripple_db"),
    [(1, 5.53, -19.27, 24.81), (3, 4.65, -10.69, 15.34), (6, 3.53, -6.04, 9.57), (9.54, 2.50, -3.52, 6.02),
     (12, 1.95, -2.51, 4.46), (20, 0.83, -0.92, 1.74)],
)  # fmt: skip
def test_levels(below_db: float, peak_db: float, notch_db: float, ripple_db: float) -> None:
    comb = pair_of(1.0, -below_db).comb
    assert comb.peak_db == pytest.approx(peak_db, abs=0.01)
    assert comb.notch_db == pytest.approx(notch_db, abs=0.01)
    assert comb.ripple_db == pytest.approx(ripple_db, abs=0.01)
