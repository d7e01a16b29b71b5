"""Loudness against published values and against pyloudnorm.

Sources: ITU-R BS.1770-4 annex 1 tables 1 and 2 (filter coefficients at 48 kHz, from memory, equal to
pyloudnorm's "DeMan" filters); EBU Tech 3341 (2016) table 1, cases 1 to 5 (signals made here, expected values
and tolerances as reprinted, not read in the document itself).
"""

from __future__ import annotations

import numpy as np
import pytest

from lagline.blend.loudness import LoudnessMeter, k_coefficients, k_response

RATE_HZ = 48_000
TABLES = (
    ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1, -1.69065929318241, 0.73248077421585]),
    ([1, -2, 1], [1, -1.99004745483398, 0.99007225036621]),
)
TECH_3341 = {
    1: ([(-23.0, 20)], -23.0),
    2: ([(-33.0, 20)], -33.0),
    3: ([(-36.0, 10), (-23.0, 60), (-36.0, 10)], -23.0),
    4: ([(-72.0, 10), (-36.0, 10), (-23.0, 60), (-36.0, 10), (-72.0, 10)], -23.0),
    5: ([(-26.0, 20), (-20.0, 20.1), (-26.0, 20)], -23.0),
}


def measured(signal: np.ndarray, rate_hz: int = RATE_HZ) -> float:
    meter = LoudnessMeter(rate_hz)
    for block in np.array_split(signal.astype(np.float32), 7):
        meter.add(block)
    return meter.integrated_lufs()


def in_phase_tone(parts: list[tuple[float, float]], rate_hz: int = RATE_HZ) -> np.ndarray:
    levels = np.concatenate([np.full(round(s * rate_hz), 10 ** (db / 20)) for db, s in parts])
    tone = levels * np.sin(2 * np.pi * 1_000 / rate_hz * np.arange(len(levels)))
    return np.column_stack([tone, tone])


def test_filter_coefficients_at_48_khz():
    for found, table in zip(k_coefficients(RATE_HZ), TABLES, strict=True):
        np.testing.assert_allclose(found, table, atol=1e-8)


@pytest.mark.parametrize(
    "frequency_hz, gain_db",
    [(20, -13.28), (50, -3.93), (100, -1.13), (500, 0.04), (997, 0.691), (2_000, 3.07), (10_000, 4.04)],
)
def test_weighting_curve(frequency_hz: float, gain_db: float):
    """Values computed from the BS.1770-4 table with scipy.signal.freqz."""
    size = RATE_HZ  # bins of 1 Hz
    assert 20 * np.log10(abs(k_response(RATE_HZ, size)[frequency_hz])) == pytest.approx(gain_db, abs=0.02)


@pytest.mark.parametrize("case", TECH_3341)
def test_ebu_tech_3341(case: int):
    parts, expected = TECH_3341[case]
    assert measured(in_phase_tone(parts)) == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_ebu_tech_3341_case_1_at_other_rates(rate_hz: int):
    assert measured(in_phase_tone([(-23.0, 20)], rate_hz), rate_hz) == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_pyloudnorm_agrees(seed: int, rate_hz: int):
    """pyloudnorm with the "DeMan" filters, on noise that swells and rests. Its blocks start at other
    fractions of a sample, which is worth some thousandths of a LU."""
    pyloudnorm = pytest.importorskip("pyloudnorm")
    rng = np.random.default_rng(seed)
    frames = int(rng.uniform(0.4, 6) * rate_hz)
    swell = np.interp(np.arange(frames), np.linspace(0, frames, 9), 10 ** (rng.uniform(-70, -6, 9) / 20))
    signal = (rng.standard_normal((frames, 2)) * swell[:, np.newaxis]).astype(np.float32)
    reference = pyloudnorm.Meter(rate_hz, filter_class="DeMan").integrated_loudness(signal.astype(float))
    assert measured(signal, rate_hz) == pytest.approx(reference, abs=0.02)


def test_the_absolute_gate_keeps_near_silence_out():
    """BS.1770-4: blocks at or below -70 LUFS count for nothing, not even for the relative gate."""
    assert measured(in_phase_tone([(-60.0, 4), (-72.0, 60)])) == pytest.approx(-60.0, abs=0.5)
    assert measured(in_phase_tone([(-75.0, 5)])) == -np.inf


def test_the_relative_gate_keeps_pauses_out():
    """BS.1770-4: blocks more than 10 LU below the mean of the others count for nothing."""
    assert measured(in_phase_tone([(-20.0, 20), (-40.0, 60)])) == pytest.approx(-20.0, abs=0.1)
