"""True peak against EBU Tech 3341 (2016/2023) Table 1, cases 15 to 19: signals made here by its words.

Tolerance +0.2 / -0.4 dB as stated there.
"""

from pathlib import Path

import numpy as np
import pytest
from tests.support.recordings import recording

from lagline.media.overview import build_overviews

RATE_HZ = 48_000
CASES = [  # divider of the sample rate, amplitude, phase in degrees, expected dBTP
    (4, 0.50, 0.0, -6.0),
    (4, 0.50, 45.0, -6.0),
    (6, 0.50, 60.0, -6.0),
    (8, 0.50, 67.5, -6.0),
    (4, 1.41, 45.0, 3.0),
]


@pytest.mark.parametrize(("divider", "amplitude", "phase_deg", "expected_db"), CASES)
def test_tone(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    divider: int,
    amplitude: float,
    phase_deg: float,
    expected_db: float,
) -> None:
    monkeypatch.setenv("LAGLINE_CACHE_DIR", str(tmp_path))
    frames = 4 * RATE_HZ
    tone = amplitude * np.sin(2 * np.pi * np.arange(frames) / divider + np.deg2rad(phase_deg))
    fade = np.minimum(1.0, np.minimum(np.arange(frames), np.arange(frames)[::-1]) / (0.01 * RATE_HZ))
    path = recording(tmp_path / "tone.wav", tone * fade, RATE_HZ, "FLOAT")
    measured_db = build_overviews(path).health[0].true_peak_db
    assert expected_db - 0.4 <= measured_db <= expected_db + 0.2


@pytest.mark.parametrize("at", [131_072 - 40, 131_072 - 3, 131_072, 131_072 + 30, 199_990])
def test_peak_between_samples_is_found_where_blocks_meet(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    """A band-limited click halfway between two samples: its peak is 1, its highest sample 2/pi."""
    monkeypatch.setenv("LAGLINE_CACHE_DIR", str(tmp_path))
    time = np.arange(200_000) - at - 0.5
    path = recording(tmp_path / "click.wav", 0.5 * np.sinc(time) * (np.abs(time) < 60), RATE_HZ, "FLOAT")
    health = build_overviews(path).health[0]
    assert health.peak == pytest.approx(0.5 * 2 / np.pi, rel=1e-3)
    assert health.true_peak == pytest.approx(0.5, rel=0.08)  # the filter does not pass all of the band
