"""What a session's types alone don't say: whether its values can be worked with.

A session file may come from anybody. What passes here can be shown, blended and saved without a surprise.
"""

from __future__ import annotations

from collections.abc import Iterator

from lagline.session.findings import Alignment, Finding
from lagline.session.values import MOST_STARS, ORIGINAL_ID, Lane, Session, Version

MOST_LANES = 1024
LARGEST_RATE_HZ = 10_000_000
LARGEST_COUNT = 1e12  # samples: some months at any rate
LARGEST_GAIN_DB = 60.0
LARGEST_DRIFT_PPM = 1e5
LARGEST_STAMP = 2**63 - 1
LONGEST_NAME = 10_000  # characters; far longer than a file's


def check(session: Session) -> None:
    """Raises ValueError in words."""
    _check_rate(session.rate_hz)
    _check_lanes(session)
    _check_versions(session)
    if session.alignment is not None:
        _check_alignment(session.alignment, {lane.id for lane in session.lanes})
    if session.loop is not None:
        _check_count("its loop", *session.loop)
        if session.loop[0] >= session.loop[1]:
            raise ValueError("its loop ends before it starts")
    for marker in session.markers:
        _check_name("a marker", marker.name)
        stop = marker.at_samples if marker.stop_samples is None else marker.stop_samples
        _check_count("a marker", marker.at_samples, stop)
        if stop < marker.at_samples:
            raise ValueError(f"its region {marker.name} ends before it starts")
    if not -100 <= session.temperature_c <= 100:
        raise ValueError(f"an air temperature of {session.temperature_c} degrees C makes no sense")
    _check_stamp(session.time_reference)
    _check_name("the take", session.name)
    if not all(
        0 <= trial.probability <= 1 and trial.planned >= 0 and trial.discarded >= 0
        for trial in session.trials
    ):
        raise ValueError("a blind trial in it was never made")
    for ranking in session.rankings:
        shares = [share for one in ranking.places for share in (one.low, one.share, one.high)]
        if not all(0 <= share <= 1 for share in (ranking.probability, *shares)) or ranking.planned < 0:
            raise ValueError("a ranking in it was never made")
    if not all(0 <= mark.rating <= MOST_STARS for mark in session.marks.values()):
        raise ValueError(f"it gives a combination more or fewer than 0 to {MOST_STARS} stars")
    if not all(count > 0 for count in session.discarded_runs.values()):
        raise ValueError("it counts runs of blind trials that were never made")


def _check_lanes(session: Session) -> None:
    if len(session.lanes) > MOST_LANES:
        raise ValueError(f"{len(session.lanes)} lanes are more than the {MOST_LANES} a session holds")
    ids = [lane.id for lane in session.lanes]
    if len(set(ids)) != len(ids):
        raise ValueError("two lanes have the same id")
    if len({lane.name.casefold() for lane in session.lanes}) != len(ids):
        raise ValueError("two lanes have the same name")
    if session.anchor_id is not None and session.anchor_id not in ids:
        raise ValueError("its anchor is not among its lanes")
    for lane in session.lanes:
        _check_lane(lane)


def _check_lane(lane: Lane) -> None:
    _check_name("a lane", lane.name)
    source = lane.source
    if source.channel < 0 or source.frames < 0 or not 1 <= source.rate_hz <= LARGEST_RATE_HZ:
        raise ValueError(f"lane {lane.name} names a recording that cannot be")
    _check_count(f"the place of lane {lane.name}", lane.place_samples, source.frames, source.channel)
    _check_stamp(source.time_reference)


def _check_versions(session: Session) -> None:
    ids = [version.id for version in session.versions]
    if not ids or len(set(ids)) != len(ids) or ORIGINAL_ID in ids:
        raise ValueError("its versions do not each have an id of their own")
    if session.current_version_id not in ids:
        raise ValueError("its current version is not among its versions")
    lane_ids = {lane.id for lane in session.lanes}
    for version in session.versions:
        _check_version(version, lane_ids)


def _check_version(version: Version, lane_ids: set[str]) -> None:
    _check_name("a version", version.name)
    told = [(lane_id, origin.move) for lane_id, origin in version.origins.items()]
    tried = [(lane_id, before.move) for lane_id, before in version.trying.items()]
    for lane_id, move in (*version.moves.items(), *told, *tried):
        if lane_id not in lane_ids:
            raise ValueError(f"version {version.name} moves a lane that is not there")
        if move.polarity not in (1, -1):
            raise ValueError(f"a polarity of {move.polarity} in version {version.name} makes no sense")
        _check_count(f"a shift in version {version.name}", move.shift_samples)
        if not abs(move.rate_ppm) <= LARGEST_DRIFT_PPM:
            raise ValueError(f"a drift in version {version.name} makes no sense")
    for lane_id, balance in version.balances.items():
        if lane_id not in lane_ids:
            raise ValueError(f"version {version.name} balances a lane that is not there")
        if not (abs(balance.gain_db) <= LARGEST_GAIN_DB and abs(balance.pan) <= 1):
            raise ValueError(f"a gain or pan in version {version.name} makes no sense")


def _check_alignment(alignment: Alignment, lane_ids: set[str]) -> None:
    if alignment.anchor_id not in lane_ids:
        raise ValueError("its findings are against a lane that is not there")
    _check_rate(alignment.rate_hz)
    if not {finding.lane_id for finding in alignment.findings} <= lane_ids:
        raise ValueError("it holds a finding of a lane that is not there")
    if not {lane_id for pair in alignment.pairs for lane_id in (pair.a, pair.b)} <= lane_ids:
        raise ValueError("it holds a measured pair of a lane that is not there")
    for finding in alignment.findings:
        _check_finding(finding)
    lags = [lag for source in alignment.sources for lag in source.lags]
    placed = {lane_id for source in alignment.sources for lane_id in source.lane_ids}
    if not placed | {lag.lane_id for lag in lags} <= lane_ids:
        raise ValueError("it holds an instrument's place in a lane that is not there")
    _check_count(
        "an instrument's place", *(n for x in lags for n in (x.arrival_samples, x.uncertainty_samples))
    )
    pairs = alignment.pairs
    _check_count("a measured pair", *(pair.arrival_samples for pair in pairs), alignment.closure_samples)
    _check_count("a measured pair", *(pair.residual_samples for pair in pairs))
    _check_polarities(pair.polarity for pair in pairs)


def _check_finding(finding: Finding) -> None:
    """Numbers that can be drawn, and series whose parts belong together."""
    evidence = finding.evidence
    windows = {
        len(evidence.window_time_s),
        len(evidence.window_arrival_samples),
        len(evidence.window_weight),
        len(evidence.window_polarity),
    }
    spectrum = {len(evidence.coherence_hz), len(evidence.coherence), len(evidence.phase_rad)}
    if len(windows) > 1 or len(spectrum) > 1 or not evidence.curve_step_samples > 0:
        raise ValueError(f"the evidence of {finding.lane_id} does not hang together")
    _check_count(f"the finding of {finding.lane_id}", *_numbers(finding))
    _check_polarities(one for one in (finding.polarity,) if one is not None)
    _check_polarities(runner.polarity for runner in finding.runners_up)
    if not abs(finding.drift_ppm) <= LARGEST_DRIFT_PPM:
        raise ValueError(f"the drift found for {finding.lane_id} makes no sense")
    if not (0 <= finding.trust <= 1 and 0 <= finding.polarity_trust <= 1):
        raise ValueError(f"the trust in {finding.lane_id} does not lie between 0 and 1")


def _numbers(finding: Finding) -> Iterator[float]:
    evidence = finding.evidence
    yield from (
        finding.arrival_samples or 0.0,
        finding.uncertainty_samples or 0.0,
        finding.first_sound_samples or 0.0,
        finding.best_fit_samples or 0.0,
        finding.drift_uncertainty_ppm or 0.0,
        finding.movement_ms,
        evidence.curve_start_samples,
        evidence.curve_step_samples,
        evidence.band_low_hz,
        evidence.band_high_hz,
    )
    for runner in finding.runners_up:
        yield from (runner.arrival_samples, runner.score)
    for series in (
        evidence.curve,
        evidence.window_time_s,
        evidence.window_arrival_samples,
        evidence.window_weight,
        evidence.coherence_hz,
        evidence.coherence,
        evidence.phase_rad,
    ):
        yield from series


def _check_rate(rate_hz: int) -> None:
    if not 1 <= rate_hz <= LARGEST_RATE_HZ:
        raise ValueError(f"a rate of {rate_hz} Hz makes no sense")


def _check_count(what: str, *numbers: float) -> None:
    if not all(abs(number) <= LARGEST_COUNT for number in numbers):  # not-a-number fails too
        raise ValueError(f"{what} holds a number that is not finite or far too large")


def _check_stamp(time_reference: int | None) -> None:
    if time_reference is not None and not 0 <= time_reference <= LARGEST_STAMP:
        raise ValueError(f"a time stamp of {time_reference} samples makes no sense")


def _check_polarities(polarities: Iterator[int]) -> None:
    if not all(polarity in (1, -1) for polarity in polarities):
        raise ValueError("a polarity in its findings is neither 1 nor -1")


def _check_name(what: str, name: str) -> None:
    if len(name) > LONGEST_NAME:
        raise ValueError(f"the name of {what} is {len(name)} characters long")
