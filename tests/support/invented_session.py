"""An invented take with findings, for tests of panels and for pictures of them. Nothing here was measured."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from msgspec.structs import replace

from lagline.session.findings import Alignment, Evidence, Finding, RunnerUp, WindowCount
from lagline.session.values import Lane, Move, Session, Source, Version

RATE_HZ = 48_000


def lane(lane_id: str, name: str) -> Lane:
    return Lane(lane_id, name, Source(Path(f"/takes/{name}.wav"), 0, RATE_HZ, 30 * RATE_HZ, 4_000_000))


def evidence(arrival: float, polarity: int, seed: int = 1) -> Evidence:
    """A curve with its peak at `arrival`, 40 windows scattered about it, a coherence that falls."""
    rng = np.random.default_rng(seed)
    lags = np.arange(-480, 481) * 0.5
    curve = polarity * 0.8 * np.sinc((lags - arrival) / 6.0) + 0.06 * np.sin(lags / 5.0)
    windows = 40
    stray = rng.random(windows) < 0.1
    hz = np.geomspace(20, 20_000, 120)
    return Evidence(
        curve_start_samples=float(lags[0]),
        curve_step_samples=0.5,
        curve=tuple(curve.tolist()),
        window_time_s=tuple(np.linspace(0.5, 29.5, windows).tolist()),
        window_arrival_samples=tuple(
            np.where(stray, arrival + 55, arrival + 0.3 * rng.standard_normal(windows)).tolist()
        ),
        window_weight=tuple((0.2 + 0.8 * rng.random(windows)).tolist()),
        window_polarity=tuple(np.where(stray, -polarity, polarity).tolist()),
        band_low_hz=180.0,
        band_high_hz=7_400.0,
        coherence_hz=tuple(hz.tolist()),
        coherence=tuple((0.9 / (1 + (hz / 5000) ** 2) * (1 - 0.4 * (hz < 80))).tolist()),
        phase_rad=tuple((0.4 * np.sin(np.log(hz)) + 0.1 * rng.standard_normal(len(hz))).tolist()),
    )


def finding(lane_id: str, name: str, arrival: float | None, polarity: int | None, word: str) -> Finding:
    trust = {"strong": 0.97, "usable": 0.85, "weak": 0.45, "none": 0.05}[word]
    if arrival is None:
        return Finding(
            lane_id, None, None, None, trust, "none", f"{name} shares nothing with Room that we found."
        )
    return Finding(
        lane_id,
        arrival,
        0.05 if word == "strong" else 1.4,
        polarity,
        trust,
        word,  # type: ignore[arg-type]
        f"{name} hears the source {abs(arrival) / 48:.2f} ms before Room: {abs(arrival):.1f} samples, about "
        f"{abs(arrival) * 0.715:.0f} cm of air. 36 of 40 passages agree.",
        polarity_trust=0.9,
        first_sound_samples=arrival - 0.2,
        best_fit_samples=arrival,
        runners_up=(RunnerUp(arrival + 48.5, 1, 0.41), RunnerUp(arrival - 20.25, -1, 0.33)),
        windows=WindowCount(40, 36),
        evidence=evidence(arrival, polarity or 1),
    )


def session(*, measured: bool = True) -> Session:
    """Five lanes: the anchor, a strong inverted one, a usable, a weak of unclear polarity, one of none."""
    lanes = (
        lane("near", "Near left"),
        lane("pick", "Contact pickup"),
        lane("far", "Balcony"),
        lane("talk", "Talkback"),
        lane("room", "Room"),
    )
    alignment = Alignment(
        anchor_id="room",
        rate_hz=RATE_HZ,
        findings=(
            finding("near", "Near left", -101.37, -1, "strong"),
            finding("pick", "Contact pickup", -118.02, 1, "usable"),
            finding("far", "Balcony", -44.6, None, "weak"),
            finding("talk", "Talkback", None, None, "none"),
            Finding("room", 0.0, 0.0, 1, 1.0, "strong", "Room is the anchor."),
        ),
        closure_samples=0.04,
        warnings=("Balcony and Room share a hum at 50 Hz; it was left out.",),
    )
    return Session(
        rate_hz=RATE_HZ,
        lanes=lanes,
        name="Chapel, third try",
        versions=(Version("v1", "Shifted", {"near": Move(101.37, -1)}),),
        anchor_id="room",
        alignment=alignment if measured else None,
        temperature_c=20.0,
    )


def large_session(name: str, lanes: int) -> Session:
    """Many lanes of one long name, with findings of every kind."""
    small = session()
    assert small.alignment is not None
    findings = small.alignment.findings
    return replace(
        small,
        lanes=tuple(lane(f"lane-{n}", f"{name} {n}") for n in range(lanes)),
        anchor_id="lane-0",
        versions=(Version("v1", "Shifted", {f"lane-{n}": Move(10.25 * n) for n in range(lanes)}),),
        alignment=replace(
            small.alignment,
            anchor_id="lane-0",
            findings=tuple(
                replace(findings[n % len(findings)], lane_id=f"lane-{n}") for n in reversed(range(lanes))
            ),
        ),
        notes=f"Note of {name}. " * 40,
    )
