"""How near the estimator comes to the physical limit of delay estimation on plain lanes.

Run from the repository: python -m tests.benchmarks.analysis_bound [--takes 24] [--seconds 6] [--json OUT]

Two lanes hear one flat band of noise (100 Hz to 8 kHz), each with noise of its own of the same band. The
bound: variance >= 3 / (8 pi^2 T) * (1 + 2 SNR) / SNR^2 / (f2^3 - f1^3), A. H. Quazi, IEEE
Trans. ASSP 29(3), 1981, 527-533. A room is far worse than noise: the bound is no accuracy of a real take.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from tests.support.fake_clips import fake_take, shifted

from lagline.analysis.align import align
from lagline.analysis.options import AnalysisOptions

RATE = 48_000
LOW_HZ, HIGH_HZ = 100.0, 8000.0
RATIOS_DB = (-5.0, 0.0, 10.0, 20.0)


def bound_samples(ratio_db: float, seconds: float) -> float:
    """Least standard deviation of the delay, samples."""
    ratio = 10 ** (ratio_db / 10)
    variance = 3 / (8 * np.pi**2 * seconds) * (1 + 2 * ratio) / ratio**2 / (HIGH_HZ**3 - LOW_HZ**3)
    return float(np.sqrt(variance)) * RATE


def band_noise(count: int, rng: np.random.Generator) -> NDArray[np.float64]:
    spectrum = np.fft.rfft(rng.standard_normal(count))
    hz = np.fft.rfftfreq(count, 1 / RATE)
    noise = np.fft.irfft(np.where((hz >= LOW_HZ) & (hz <= HIGH_HZ), spectrum, 0), count)
    return np.asarray(noise / np.std(noise))


def errors(ratio_db: float, takes: int, seconds: float) -> list[float]:
    found = []
    own = 10 ** (-ratio_db / 20)
    for number in range(takes):
        rng = np.random.default_rng([99_000, round(ratio_db) + 100, number])
        source = band_noise(round(seconds * RATE), rng)
        delay = float(rng.uniform(-200, 200))
        lanes = {
            "a": source + own * band_noise(len(source), rng),
            "b": shifted(source, delay) + own * band_noise(len(source), rng),
        }
        session, clips = fake_take({k: 0.1 * x for k, x in lanes.items()}, RATE)
        answer = align(session, clips, AnalysisOptions(anchor="a")).finding("b")
        if answer is not None and answer.arrival_samples is not None:
            found.append(answer.arrival_samples - delay)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--takes", type=int, default=24)
    parser.add_argument("--seconds", type=float, default=6.0)
    parser.add_argument("--json", type=Path, help="write the figures here, for the guide's page")
    options = parser.parse_args()
    rows = []
    print("| signal to noise, dB | answered | rms error, samples | bound, samples | ratio |")
    print("|---|---|---|---|---|")
    for ratio_db in RATIOS_DB:
        off = errors(ratio_db, options.takes, options.seconds)
        bound = bound_samples(ratio_db, options.seconds)
        rms = float(np.sqrt(np.mean(np.square(off)))) if off else float("nan")
        rows.append(
            {"ratio_db": ratio_db, "answered": len(off), "takes": options.takes, "rms": rms, "bound": bound}
        )
        print(
            f"| {ratio_db:g} | {len(off)} of {options.takes} | {rms:.5f} | {bound:.5f} | {rms / bound:.2f} |"
        )
    if options.json:
        figures = {"seconds": options.seconds, "rows": rows}
        options.json.write_text(json.dumps(figures, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
