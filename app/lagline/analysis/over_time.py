"""A finding over the take: drift of its clock, movement, and how many stretches agree."""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from lagline.analysis.lane_answer import LaneAnswer
from lagline.analysis.measure import Cuts, Lanes
from lagline.analysis.own import levels_of, own_weights
from lagline.analysis.scan import Floats
from lagline.analysis.spectra import smoothed
from lagline.analysis.tracks import Track, movement, track, wander
from lagline.session.findings import WindowCount

OWN_LEAST = 0.05  # of the weight of the stroke that is most a lane's own
AGREE_S = 0.00012  # a stretch this near the finding agrees with it
COMB_BINS = 1025  # wider than the teeth of any comb worth telling
BAND_SHARE = 0.1


class OverTime(Struct, frozen=True):
    """`time` in session samples, `arrival` in samples there (drift included), `weight` 0..1.

    at_start : samples to add to an arrival so that it holds where the anchor's recording starts.
    drift_ppm, drift_sigma_ppm : positive: the lane gets later. walked : samples, 0 where it stands still.
    """

    time: Floats
    arrival: Floats
    weight: Floats
    polarity: int
    windows: WindowCount
    at_start: float = 0.0
    drift_ppm: float = 0.0
    drift_sigma_ppm: float | None = None
    walked: float = 0.0


def over_time(lanes: Lanes, cuts: Cuts, answer: LaneAnswer, anchor: int) -> OverTime:
    """How the arrival of a lane against the anchor goes over the take."""
    lane, pair, courses = answer.lane, answer.pair, cuts.courses
    slope = courses.slope[lane] - courses.slope[anchor]
    # The common frame's time at which the anchor's own recording starts.
    begin = max(lanes.places[anchor], courses.origin)
    common = (begin - courses.start[anchor] + courses.slope[anchor] * courses.origin) / (
        1 + courses.slope[anchor]
    )
    at_start = slope * (common - courses.origin)
    drift = 1e6 * slope
    sigma = 1e6 * float(np.hypot(courses.slope_sigma[lane], courses.slope_sigma[anchor])) if slope else None
    back = courses.start[lane] - courses.start[anchor]
    time, lag, weight = _stretches(cuts, answer, anchor)
    if not len(time) or pair is None or pair.match is None:
        return OverTime(time, lag, weight, answer.polarity, WindowCount(), at_start, drift, sigma)
    near = max(AGREE_S * lanes.rate_hz, 2 * answer.sigma)
    heard = weight > 0.1
    agreeing = int((heard & (np.abs(lag + back - answer.arrival) < near)).sum())
    return OverTime(
        time=time,
        arrival=lag + back + slope * (time - courses.origin),
        weight=weight,
        polarity=answer.polarity,
        windows=WindowCount(used=int(heard.sum()), agreeing=agreeing),
        at_start=at_start,
        drift_ppm=drift,
        drift_sigma_ppm=sigma,
        walked=wander(time, lag, weight) if pair.is_clean else 0.0,
    )


def _is_by_own_strokes(answer: LaneAnswer) -> bool:
    """Whether the answer is what the lane's own strokes say, rather than all strokes together."""
    if (
        answer.pair is None
        or answer.pair.match is None
        or not answer.pair.match.alone
        or answer.pair.is_clean
    ):
        return False
    expected = (-answer.arrival if answer.flip else answer.arrival) - answer.pair.offset
    return abs(answer.pair.match.alone[0].arrival - expected) < 1.0


def _stretches(cuts: Cuts, answer: LaneAnswer, anchor: int) -> tuple[Floats, Floats, Floats]:
    """Times, lags after cutting (lane against anchor) and weights: of attacks, or of groups of windows."""
    pair = answer.pair
    if pair is None or pair.match is None:
        return np.zeros(0), np.zeros(0), np.zeros(0)
    is_own = _is_by_own_strokes(answer)
    if pair.votes.heard and not pair.is_clean and not is_own:
        votes = pair.votes
        there = np.isfinite(votes.each) & (votes.weight > 0)
        top = float(votes.weight[there].max()) if there.any() else 1.0
        time = (cuts.attacks.start[there] + cuts.attacks.lead).astype(np.float64)
        return time, votes.each[there] * (-1.0 if answer.flip else 1.0), votes.weight[there] / top
    each = pair.match.each
    if is_own:
        own = own_weights(levels_of(np.array([lane.energy for lane in cuts.spectra])), anchor, answer.lane)
        each = np.where(own > OWN_LEAST, each, 0.0)
    band = _open_band(pair.match.weight)

    def lags(*, is_close: bool) -> Track:
        return track(
            cuts.spectra[anchor],
            cuts.spectra[answer.lane],
            cuts.windows,
            each,
            band,
            cuts.size,
            cuts.reach,
            is_close=is_close,
        )

    back = cuts.courses.start[answer.lane] - cuts.courses.start[anchor]
    seen = lags(is_close=False)
    time, lag, weight = movement(seen, answer.polarity, np.full(len(seen.time), answer.arrival - back))
    if not pair.is_clean or not wander(time, lag, weight):
        return time, lag, weight
    closer = lags(is_close=True)
    return movement(closer, answer.polarity, np.interp(closer.time, time, lag))


def _open_band(weight: Floats) -> Floats:
    """The band that decided, even all over: the weighting of a source heard at two places is a comb, which
    would show each of them at the other's time too."""
    broad = smoothed(weight, COMB_BINS)
    return np.asarray(broad > BAND_SHARE * broad.max(initial=0.0), np.float64)
