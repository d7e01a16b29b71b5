"""What `--json` prints, by command. The words for every key stand in the guide, on the page of file formats;
JSON Schema files of all documents are made of both (`python -m assets.schemas`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NotRequired, TypedDict

from lagline.jobs.machine import Check, Device
from lagline.jobs.tape_measure import Comparison
from lagline.session.findings import TrustWord


class OtherArrival(TypedDict):
    """Of `lagline align`: an arrival that the evidence allows too."""

    arrival_samples: float
    polarity: int
    score: float
    source: str | None


class SourceArrival(TypedDict):
    """Of `lagline align`: when a lane hears an instrument."""

    lane: str
    arrival_samples: float
    uncertainty_samples: float
    polarity: int | None


class AlignedSource(TypedDict):
    """Of `lagline align`: an instrument that is told apart."""

    name: str
    lanes: list[str]
    strokes: int
    lags: list[SourceArrival]


class Windows(TypedDict):
    """Of `lagline align`: stretches of the take."""

    used: int
    agreeing: int


class AlignedLane(TypedDict):
    """Of `lagline align`."""

    name: str
    file: str
    channel: int
    arrival_samples: float | None
    uncertainty_samples: float | None
    arrival_ms: float | None
    path_m: float | None
    first_sound_samples: float | None
    best_fit_samples: float | None
    polarity: int | None
    polarity_trust: float
    trust: float
    trust_word: TrustWord
    drift_ppm: float
    movement_ms: float
    proposed_shift_samples: float | None
    runners_up: list[OtherArrival]
    windows: Windows
    sentence: str


class AlignedPair(TypedDict):
    """Of `lagline align`."""

    a: str
    b: str
    arrival_samples: float
    weight: float
    residual_samples: float


class AlignDocument(TypedDict):
    """`lagline align`."""

    schema: Literal["lagline/alignment/1"]
    rate_hz: int
    anchor: str
    lanes: list[AlignedLane]
    pairs: list[AlignedPair]
    closure_samples: float
    sources: list[AlignedSource]
    warnings: list[str]


class AppliedLane(TypedDict):
    """Of `lagline apply`."""

    name: str
    setup_lane: str | None
    expected_samples: float | None
    measured_samples: float | None
    difference_samples: float | None
    polarity_agrees: bool | None
    word: str
    shift_samples: float
    polarity: int


class ApplyDocument(TypedDict):
    """`lagline apply`."""

    schema: Literal["lagline/apply/1"]
    setup: str
    rate_hz: int
    lanes: list[AppliedLane]
    warnings: list[str]


class CheckedChannel(TypedDict):
    """Of `lagline check`."""

    name: str
    file: str
    readable: bool
    problems: Sequence[str]
    notes: Sequence[str]


class CheckDocument(TypedDict):
    """`lagline check`."""

    schema: Literal["lagline/check/1"]
    session_problems: list[str]
    recordings: list[CheckedChannel]


class Notch(TypedDict):
    """Of `lagline combine`."""

    frequency_hz: float
    depth_db: float


class Combination(TypedDict):
    """Of `lagline combine`."""

    name: str
    timing: str
    lanes: list[str]
    words: str
    loudness_lufs: float | None
    match_db: float
    crest_db: float | None
    ripple_db: float | None
    notches: list[Notch]
    summing_gain_db: list[float | None]
    mono_lu: float | None
    mono_worst_hz: float | None
    mono_worst_db: float | None
    width: float | None
    tone_db: list[float | None]
    change_db: list[float | None]


class Suggested(TypedDict):
    """Of `lagline combine`."""

    name: str
    combination: str
    timing: str
    reason: str


class MendChange(TypedDict):
    """Of `lagline combine`."""

    words: str
    change: Literal["shift", "gain", "flip"]
    part: str
    amount: float
    notch_hz: float
    depth_before_db: float
    depth_after_db: float
    tone_moves_db: float


class Mended(TypedDict):
    """Of `lagline combine`."""

    combination: str
    timing: str
    changes: list[MendChange]


class CombineDocument(TypedDict):
    """`lagline combine`."""

    schema: Literal["lagline/combine/1"]
    take: str
    bands_hz: list[float]
    combinations: list[Combination]
    suggestions: list[Suggested]
    mends: list[Mended]


class CacheRoom(TypedDict):
    """Of `lagline machine`."""

    folder: str
    size_bytes: int
    files: int
    limit_bytes: int


class MachineDocument(TypedDict):
    """`lagline machine`."""

    schema: Literal["lagline/machine/1"]
    is_well: bool
    checks: Sequence[Check]
    devices: Sequence[Device]
    cache: CacheRoom


class PlannedArrival(TypedDict):
    """Of `lagline plan`."""

    name: str
    direct_line: bool
    distance_m: float
    latency_ms: float
    level_db: float
    polarity: int
    heard_ms: float
    arrival_samples: float
    arrival_ms: float
    arrival_m: float
    distance_level_db: float


class PlannedPairDocument(TypedDict):
    """Of `lagline plan`."""

    a: str
    b: str
    delay_samples: float
    delay_ms: float
    notches_hz: Sequence[float]
    peaks_hz: Sequence[float]
    notch_db: float | None
    peak_db: float
    distance_ratio: float | None
    keeps_3_to_1: bool | None
    ripple_by_distance_db: float | None


class Dip(TypedDict):
    """Of `lagline plan`."""

    frequency_hz: float
    level_db: float | None


class Way(TypedDict):
    """Of `lagline plan`."""

    by_m: float
    distance_m: float


class MovedNotch(TypedDict):
    """Of `lagline plan`."""

    name: str
    other: str
    wanted_hz: float
    ways: list[Way]


class PlanDocument(TypedDict):
    """`lagline plan`."""

    schema: Literal["lagline/plan-report/1"]
    name: str
    rate_hz: int
    temperature_c: float
    humidity_percent: float
    speed_m_s: float
    anchor: str | None
    lanes: list[PlannedArrival]
    pairs: list[PlannedPairDocument]
    blend_dips: list[Dip]
    notch_moves: NotRequired[list[MovedNotch]]
    tape_against_sound: NotRequired[Sequence[Comparison]]


class VerifiedFile(TypedDict):
    """Of `lagline verify`."""

    file: str
    problems: Sequence[str]
    compared: str


class VerifyDocument(TypedDict):
    """`lagline verify`."""

    schema: Literal["lagline/verify/1"]
    as_delivered: bool
    files: list[VerifiedFile]
