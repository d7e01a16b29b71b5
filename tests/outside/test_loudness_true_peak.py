"""The true-peak meter against EBU Tech 3341 (2016), table 1, cases 15 to 19, tolerance +0.2 / -0.4 dBTP.

Signals made here to the table's description (as reprinted elsewhere): a sine at a fraction of the
sampling rate, with the phase that hides its peak between samples, with 10 ms fades.
"""

from __future__ import annotations

import numpy as np
import pytest

from lagline.media.true_peak import TruePeakStream

RATE_HZ = 48_000


@pytest.mark.parametrize(
    "part_of_rate, level, phase_deg, expected_dbtp",
    [
        (1 / 4, 0.5, 0, -6.0),
        (1 / 4, 0.5, 45, -6.0),
        (1 / 6, 0.5, 60, -6.0),
        (1 / 8, 0.5, 67.5, -6.0),
        (1 / 4, 1.41, 45, 3.0),
    ],
    ids=["15", "16", "17", "18", "19"],
)
def test_ebu_tech_3341(part_of_rate: float, level: float, phase_deg: float, expected_dbtp: float):
    times = np.arange(RATE_HZ // 2)
    tone = level * np.sin(2 * np.pi * part_of_rate * times + np.radians(phase_deg))
    fade = np.clip(np.minimum(times, times[::-1]) / 480, 0, 1)
    signal = np.column_stack([tone * fade] * 2).astype(np.float32)
    meter = TruePeakStream()
    peak_dbtp = 20 * np.log10(max(meter.peak(block) for block in np.array_split(signal, 11)))
    assert expected_dbtp - 0.4 <= peak_dbtp <= expected_dbtp + 0.2
