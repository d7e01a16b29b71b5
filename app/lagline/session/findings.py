"""What analysis says of the lanes: plain frozen values, stored with the session.

Sign: an arrival is positive when the lane hears the source LATER than the anchor.
All counts are samples at the session's rate.
"""

from __future__ import annotations

import math
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

TrustWord = Literal["strong", "usable", "weak", "none"]
Sureness = Literal["unclear", "probable", "sure"]

POLARITY_UNCLEAR_BELOW = 0.35  # of polarity_trust: no word on it is said
POLARITY_PROBABLE_BELOW = 0.7  # the word is said with a "probably"


def polarity_sureness(polarity: int | None, polarity_trust: float) -> Sureness:
    """How firmly a polarity may be told: the same in sentences, tables and on the desk."""
    if polarity is None or polarity_trust < POLARITY_UNCLEAR_BELOW:
        return "unclear"
    return "probable" if polarity_trust < POLARITY_PROBABLE_BELOW else "sure"


def trust_figure(trust: float) -> str:
    """`0.89`: a trust of 0..1 in two digits, never rounded up into the next word."""
    return f"{math.floor(100 * trust + 1e-9) / 100:.2f}"


class RunnerUp(Struct, frozen=True):
    """Another arrival the evidence allows, best first in `Finding.runners_up`; the places of single
    instruments come last.
    """

    arrival_samples: float
    polarity: int  # +1 or -1
    score: float  # 0..1, comparable within one finding
    source: str = ""  # name of the instrument whose place it is (`SourceFinding.name`)


class WindowCount(Struct, frozen=True):
    """How many stretches of the take had something to say, and how many agree with the finding."""

    used: int = 0
    agreeing: int = 0


class Evidence(Struct, frozen=True):
    """What a finding rests on, small enough to store and ready to draw.

    curve_*: match (signed, -1..1) against arrival: `curve_start_samples + i * curve_step_samples`.
    window_*: arrival per window over time (window centre, seconds of session time), with its weight 0..1
    and polarity sign.
    band_low_hz, band_high_hz: the part of the spectrum that decided.
    coherence_hz, coherence (magnitude-squared, 0..1) and phase_rad (of the lane against the anchor after
    the arrival is taken out): one value a frequency.
    """

    curve_start_samples: float = 0.0
    curve_step_samples: float = 1.0
    curve: tuple[float, ...] = ()
    window_time_s: tuple[float, ...] = ()
    window_arrival_samples: tuple[float, ...] = ()
    window_weight: tuple[float, ...] = ()
    window_polarity: tuple[int, ...] = ()
    band_low_hz: float = 0.0
    band_high_hz: float = 0.0
    coherence_hz: tuple[float, ...] = ()
    coherence: tuple[float, ...] = ()
    phase_rad: tuple[float, ...] = ()


class Finding(Struct, frozen=True):
    """What analysis says of one lane against the anchor.

    With `trust_word` "none" nothing is proposed: arrival, uncertainty and polarity are None.
    `polarity` is also None where the phase is rotated across the band and a yes or no would be untrue.
    """

    lane_id: str
    arrival_samples: float | None
    uncertainty_samples: float | None
    polarity: int | None
    trust: float  # 0..1
    trust_word: TrustWord
    sentence: str
    polarity_trust: float = 0.0
    first_sound_samples: float | None = None
    best_fit_samples: float | None = None
    drift_ppm: float = 0.0  # positive: the lane gets later as the take goes on
    drift_uncertainty_ppm: float | None = None
    movement_ms: float = 0.0
    runners_up: tuple[RunnerUp, ...] = ()
    windows: WindowCount = WindowCount()
    evidence: Evidence = Evidence()

    @property
    def proposed_shift_samples(self) -> float | None:
        """Shift that lines this lane up on the anchor; None when nothing is proposed."""
        return None if self.arrival_samples is None else 0.0 - self.arrival_samples

    @property
    def told_polarity(self) -> int | None:
        """The polarity as far as it is told, and taken over when the finding is accepted: None for one that
        is unclear."""
        return None if self.polarity_sureness == "unclear" else self.polarity

    @property
    def polarity_sureness(self) -> Sureness:
        """How firmly `polarity` may be told."""
        return polarity_sureness(self.polarity, self.polarity_trust)


class PairFinding(Struct, frozen=True):
    """One measured pair behind the joint answer.

    `a` and `b` are lane ids; `arrival_samples` is the arrival of lane `a` against lane `b`
    (positive: `a` is later, as everywhere); `residual_samples` is what the joint answer leaves over.
    """

    a: str
    b: str
    arrival_samples: float
    weight: float
    residual_samples: float
    polarity: int = 1


class SourceLag(Struct, frozen=True):
    """When one lane hears an instrument against the anchor, positive later; `uncertainty_samples` is one
    standard deviation. `polarity` is 0 where first sounds alone tell the arrival.
    """

    lane_id: str
    arrival_samples: float
    uncertainty_samples: float
    polarity: int


class SourceFinding(Struct, frozen=True):
    """One of several instruments of the take that are told apart.

    name : of the lane that stands at it; "first in" that hears it first where none does. lane_ids : all lanes
    that stand at it, that one first. strokes : by which it was told. lags : of the lanes that tell it, in the
    take's order.
    """

    name: str
    lane_ids: tuple[str, ...]
    strokes: int
    lags: tuple[SourceLag, ...]

    def lag(self, lane_id: str) -> SourceLag | None:
        """When a lane hears it; None where that isn't told."""
        return next((lag for lag in self.lags if lag.lane_id == lane_id), None)


class Alignment(Struct, frozen=True):
    """The joint answer for a take: one finding a lane (the anchor's own has arrival 0)."""

    anchor_id: str
    rate_hz: int
    findings: tuple[Finding, ...]
    pairs: tuple[PairFinding, ...] = ()
    closure_samples: float = 0.0  # rms of the pairs' residuals
    warnings: tuple[str, ...] = ()
    sources: tuple[SourceFinding, ...] = ()  # where several instruments are told apart, else none

    def finding(self, lane_id: str) -> Finding | None:
        """The finding of a lane; None for a lane that wasn't measured."""
        return next((finding for finding in self.findings if finding.lane_id == lane_id), None)

    def without_lane(self, lane_id: str) -> Alignment:
        """The same answer with a lane (not the anchor) left out."""
        return replace(
            self,
            findings=tuple(finding for finding in self.findings if finding.lane_id != lane_id),
            pairs=tuple(pair for pair in self.pairs if lane_id not in (pair.a, pair.b)),
            sources=tuple(
                replace(
                    source,
                    lane_ids=tuple(at for at in source.lane_ids if at != lane_id),
                    lags=tuple(lag for lag in source.lags if lag.lane_id != lane_id),
                )
                for source in self.sources
            ),
        )
