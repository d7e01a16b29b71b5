"""Fractional delay against theory and against a phase shift by FFT.

Sources: the ideal delay exp(-j w D) and windowed-sinc design, Laakso, Valimaki, Karjalainen and Laine,
"Splitting the unit delay", IEEE Signal Processing Magazine 13(1), 1996 (from memory); the shift theorem of
the discrete Fourier transform, through numpy.fft.
"""

from __future__ import annotations

import numpy as np
import pytest
from tests.support.array_clips import ArrayClip, session_of

from lagline.blend.fraction import REACH, kernel
from lagline.blend.mix import lane_signal
from lagline.session.values import Move, Version

FRACTIONS = np.arange(0.05, 1.0, 0.05)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_the_weights_delay_every_frequency_to_20_khz(rate_hz: int):
    frequencies = np.linspace(0, 20_000, 801)
    angles = 2 * np.pi * frequencies / rate_hz
    taps = np.arange(-REACH + 1, REACH + 1)
    worst = 0.0
    for fraction in FRACTIONS:
        response = np.exp(-1j * np.outer(angles, taps)) @ kernel(float(fraction))
        worst = max(worst, float(np.abs(response - np.exp(-1j * angles * fraction)).max()))
    assert 20 * np.log10(worst) < -110


@pytest.mark.parametrize("shift", [0.5, -0.5, 12.34, -101.37, 3.0011, 250.93])
@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_band_limited_noise_is_shifted_as_by_fft(shift: float, rate_hz: int):
    length, margin = 1 << 14, 1_000
    rng = np.random.default_rng(4)
    spectrum = np.fft.rfft(rng.standard_normal(length))
    frequencies = np.fft.rfftfreq(length, 1 / rate_hz)
    spectrum[frequencies > 20_000] = 0
    periodic = np.fft.irfft(spectrum, length)
    shifted = np.fft.irfft(spectrum * np.exp(-2j * np.pi * frequencies / rate_hz * shift), length)
    scale = 0.9 / np.abs(periodic).max()

    clips = {"a": ArrayClip(periodic * scale, rate_hz)}
    version = Version(id="v1", name="x", moves={"a": Move(shift)})
    session = session_of(clips, version, rate_hz=rate_hz)
    out = lane_signal(session, version, session.lanes[0], clips, margin, length - 2 * margin)
    error = out - shifted[margin:-margin] * scale
    rms = np.sqrt(np.mean((shifted * scale) ** 2))
    assert 20 * np.log10(np.sqrt(np.mean(error**2)) / rms) < -110


@pytest.mark.parametrize("frequency_hz", [20, 997, 10_000, 19_997])
def test_tones_at_44_1_khz_are_delayed_within_minus_110_db(frequency_hz: float):
    rate_hz, shift, length = 44_100, 41.5, 8_192
    times = np.arange(length)
    tone = np.sin(2 * np.pi * frequency_hz / rate_hz * times)
    expected = np.sin(2 * np.pi * frequency_hz / rate_hz * (times - shift))
    clips = {"a": ArrayClip(tone, rate_hz)}
    version = Version(id="v1", name="x", moves={"a": Move(shift)})
    session = session_of(clips, version, rate_hz=rate_hz)
    out = lane_signal(session, version, session.lanes[0], clips, 200, length - 400)
    assert 20 * np.log10(np.abs(out - expected[200:-200]).max()) < -110


@pytest.mark.parametrize("rate_ppm", [100.0, -37.5])
@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_a_drifting_read_follows_tones_to_20_khz(rate_ppm: float, rate_hz: int):
    """Each output sample is the tone's value at its own time, worked out directly."""
    length = 1 << 15
    times = np.arange(length)
    for frequency_hz in (997.0, 9_999.0, 19_997.0):
        omega = 2 * np.pi * frequency_hz / rate_hz
        clips = {"a": ArrayClip(np.sin(omega * times), rate_hz)}
        version = Version(id="v1", name="x", moves={"a": Move(3.3, rate_ppm=rate_ppm)})
        session = session_of(clips, version, rate_hz=rate_hz)
        inner = times[200:-200]
        out = lane_signal(session, version, session.lanes[0], clips, int(inner[0]), len(inner))
        expected = np.sin(omega * (inner * (1 + rate_ppm * 1e-6) - 3.3))
        assert 20 * np.log10(np.abs(out - expected).max()) < -110
