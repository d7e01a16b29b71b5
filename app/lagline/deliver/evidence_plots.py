"""The plots of a report: match against arrival, arrival over time, tone before and after."""

from __future__ import annotations

import math

import numpy as np

from lagline.analysis.tone import ToneReport
from lagline.deliver.plots import Axis, Plot
from lagline.session.findings import Finding
from lagline.session.values import ORIGINAL_ID
from lagline.session.version_colours import ON_LIGHT, colour_place
from lagline.units import samples_to_ms

_TONE_TICKS_HZ = (20.0, 50.0, 100.0, 200.0, 500.0, 1_000.0, 2_000.0, 5_000.0, 10_000.0, 20_000.0)
_MOST_WINDOWS = 400
SHOWN_RUNNERS_UP = 3
_TONE_SPAN_DB = 60.0
_MOST_CHANGE_DB = 24.0
_LEAST_REACH_SAMPLES = 6.0
_LEAST_MATCH_REACH_MS = 5.0


def match_plot(finding: Finding, lane: str, anchor: str, rate_hz: int) -> str | None:
    """Signed match against arrival in ms: down means upside down. None without evidence."""
    evidence = finding.evidence
    if len(evidence.curve) < 2:
        return None
    lags = evidence.curve_start_samples + evidence.curve_step_samples * np.arange(len(evidence.curve))
    lags_ms = [samples_to_ms(float(lag), rate_hz) for lag in lags]
    low_ms, high_ms = _match_range(finding, rate_hz, lags_ms[0], lags_ms[-1])
    shown = [
        (lag, value) for lag, value in zip(lags_ms, evidence.curve, strict=True) if low_ms <= lag <= high_ms
    ]
    height = max(0.1, 1.15 * max((abs(value) for _, value in shown if math.isfinite(value)), default=0.0))
    height = min(height, 1.0)
    plot = Plot(
        Axis(low_ms, high_ms, f"arrival against {anchor}, ms"),
        Axis(-height, height, "match"),
        f"Match of {lane} with {anchor} against arrival",
        says=_match_words(finding, rate_hz),
    )
    plot.level(0.0)
    plot.line([lag for lag, _ in shown], [value for _, value in shown])
    if finding.arrival_samples is not None:
        plot.upright(samples_to_ms(finding.arrival_samples, rate_hz), "found", dash="6 2")
    for number, runner in enumerate(finding.runners_up[:SHOWN_RUNNERS_UP], start=2):
        plot.upright(samples_to_ms(runner.arrival_samples, rate_hz), str(number), dash="2 3")
    return plot.svg()


def _match_words(finding: Finding, rate_hz: int) -> str:
    def at(arrival_samples: float) -> str:
        return f"{samples_to_ms(arrival_samples, rate_hz):+.3f} ms"

    if finding.arrival_samples is None:
        return "No arrival was found."
    runners = [at(runner.arrival_samples) for runner in finding.runners_up[:SHOWN_RUNNERS_UP]]
    others = f" Runners-up at {', '.join(runners)}." if runners else ""
    return f"Found at {at(finding.arrival_samples)}.{others}"


def _match_range(finding: Finding, rate_hz: int, first_ms: float, last_ms: float) -> tuple[float, float]:
    """The part of the curve that shows what was found and the runners-up; all of it where nothing was."""
    if finding.arrival_samples is None:
        return first_ms, last_ms
    arrivals = [finding.arrival_samples, *(x.arrival_samples for x in finding.runners_up[:SHOWN_RUNNERS_UP])]
    found_ms = samples_to_ms(finding.arrival_samples, rate_hz)
    reach = 1.3 * max(abs(samples_to_ms(one, rate_hz) - found_ms) for one in arrivals)
    reach = max(reach, _LEAST_MATCH_REACH_MS)
    low_ms, high_ms = max(first_ms, found_ms - reach), min(last_ms, found_ms + reach)
    return (low_ms, high_ms) if low_ms < high_ms else (first_ms, last_ms)


def arrival_plot(finding: Finding, lane: str, anchor: str, rate_hz: int) -> str | None:
    """Arrival in ms per window over time; larger: more weight; empty: upside down. None without windows."""
    evidence = finding.evidence
    count = len(evidence.window_time_s)
    if count < 2:
        return None
    weights = np.array(evidence.window_weight or (1.0,) * count)
    signs = evidence.window_polarity or (1,) * count
    arrivals_ms = np.array([samples_to_ms(value, rate_hz) for value in evidence.window_arrival_samples])
    shown = np.sort(np.argsort(weights)[-_MOST_WINDOWS:])
    found_ms = None if finding.arrival_samples is None else samples_to_ms(finding.arrival_samples, rate_hz)
    centre = float(np.median(arrivals_ms[shown])) if found_ms is None else found_ms
    # Four times the median distance shows how far most of them scatter; strays stand at the edge.
    reach = 4.0 * float(np.median(np.abs(arrivals_ms[shown] - centre)))
    reach = max(reach, 1000.0 * _LEAST_REACH_SAMPLES / rate_hz)
    times = evidence.window_time_s
    plot = Plot(
        Axis(min(times), max(max(times), min(times) + 0.1), "time in the take, s"),
        Axis(centre - reach, centre + reach, "arrival, ms"),
        f"Arrival of {lane} against {anchor} over time",
        says=f"{len(shown)} stretches, half of them within {reach / 4.0:.3f} ms of {centre:+.3f} ms.",
    )
    if found_ms is not None:
        plot.level(found_ms, dash="6 2")
    for index in shown.tolist():
        radius = 1.2 + 2.0 * float(np.clip(weights[index], 0.0, 1.0))
        plot.dot(times[index], float(arrivals_ms[index]), radius=radius, is_filled=signs[index] > 0)
    return plot.svg()


def tone_plots(tone: ToneReport, version_id: str, version_name: str) -> list[str]:
    """Spectra of the original (dashed) and a version, and by how much each third octave changes."""
    before, after = tone.version(ORIGINAL_ID), tone.version(version_id)
    if before is None or after is None or len(tone.fine_hz) < 2:
        return []
    frequency = Axis(tone.fine_hz[0], tone.fine_hz[-1], "frequency, Hz", True, _ticks(tone))
    top = math.ceil(max(*before.fine_db, *after.fine_db) / 10.0) * 10.0
    spectra = Plot(
        frequency,
        Axis(top - _TONE_SPAN_DB, top, "level, dB"),
        f"Spectrum of the blend: original dashed, {version_name} solid",
        width=740.0,
        height=220.0,
        says=f"{frequency.low:.0f} to {frequency.high:.0f} Hz, down to {top - _TONE_SPAN_DB:.0f} dB.",
    )
    spectra.line(tone.fine_hz, before.fine_db, dash="3 2", colour=ON_LIGHT[colour_place(ORIGINAL_ID)])
    spectra.line(tone.fine_hz, after.fine_db, width=1.4, colour=ON_LIGHT[colour_place(version_id)])
    change = tone.band_change_db(ORIGINAL_ID, version_id)
    largest = max((abs(value) for value in change if math.isfinite(value)), default=0.0)
    reach = min(max(3.0, math.ceil(largest)), _MOST_CHANGE_DB)
    bars = Plot(
        frequency,
        Axis(-reach, reach, "change, dB"),
        f"Change from original to {version_name} per third octave",
        width=740.0,
        height=160.0,
        says=f"No third octave changes by more than {largest:.1f} dB.",
    )
    bars.bars([(band.lower_hz, band.upper_hz) for band in tone.bands], change)
    bars.level(0.0)
    return [spectra.svg(), bars.svg()]


def _ticks(tone: ToneReport) -> tuple[float, ...]:
    return tuple(hz for hz in _TONE_TICKS_HZ if tone.fine_hz[0] <= hz <= tone.fine_hz[-1] * 1.01)
