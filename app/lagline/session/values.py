"""What the engineer decided about a take: frozen values. An edit makes a new one (edits.py)."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any, Literal

from msgspec import Struct, field
from msgspec.structs import replace

from lagline.errors import NotInSession
from lagline.session.findings import Alignment
from lagline.units import DEFAULT_TEMPERATURE_C, frames_at

ORIGINAL_ID = "original"


class Source(Struct, frozen=True):
    """The recording behind a lane, as it was when the take was opened."""

    path: Path  # absolute
    channel: int  # 0-based
    rate_hz: int  # the file's own
    frames: int  # at the file's own rate
    size_bytes: int
    subtype: str = "PCM_24"  # libsndfile's name of the sample format
    time_reference: int | None = None  # samples since midnight at the file's own rate (EBU Tech 3285)
    fingerprint: str = ""  # of this channel's sound (media.fingerprint); empty: of a session from before


class Lane(Struct, frozen=True):
    """One recorded path of the take, mono. What a blend makes of it is said by each version."""

    id: str  # stable within the session
    name: str  # unique within the session
    source: Source
    place_samples: int = 0  # session time of the recording's first sample, as recorded
    solo: bool = False  # to listen to, whichever version is heard
    link: str | None = None  # lanes with the same link move together
    colour: int | None = None  # which of the lane colours, from 0; None: by its place
    extra: dict[str, Any] = field(default_factory=dict)  # unknown keys of the session file, kept

    def frames(self, rate_hz: int) -> int:
        """Length at the session's rate, in samples, as recorded."""
        return frames_at(self.source.frames, self.source.rate_hz, rate_hz)

    def reach(self, rate_hz: int, move: Move) -> tuple[int, int]:
        """First and one-past-last session sample at which the lane sounds under a move."""
        start = self.place_samples + move.shift_samples
        stop = start + self.frames(rate_hz)
        return math.floor(start / move.pace), math.ceil(stop / move.pace)


class Move(Struct, frozen=True):
    """What a version does to one lane."""

    shift_samples: float = 0.0  # positive: later
    polarity: int = 1  # +1 as recorded, -1 flipped
    rate_ppm: float = 0.0  # the lane's drift that is taken out: positive = it was getting later

    @property
    def pace(self) -> float:
        """Samples of the recording that are heard in one of the session."""
        return 1.0 + self.rate_ppm * 1e-6


class Balance(Struct, frozen=True):
    """How a version has one lane in its blend."""

    gain_db: float = 0.0
    pan: float = 0.0  # -1 left .. +1 right
    mute: bool = False  # it takes no part


NO_MOVE = Move()
AS_IT_IS = Balance()
OriginWord = Literal["finding", "runner-up", "earlier finding", "hand", "setup", "part"]


class SameSound(Struct, frozen=True):
    """A sound that was pointed at in two lanes, in session samples of the lanes as recorded."""

    lane_id: str  # the lane that stayed
    there_samples: float  # where that lane has it
    here_samples: float  # where the lane that was moved has it


class Origin(Struct, frozen=True):
    """How a lane came to its place."""

    by: OriginWord
    move: Move  # what it was put at; a flip since then leaves this as it is
    runner_up: int = 0  # which one put it there, from 1
    sound: SameSound | None = None  # what it was lined up on by hand
    whole: bool = False  # a fraction of a sample that was found was left out


class Before(Struct, frozen=True):
    """Where a lane was, and how it came there, before another place was tried."""

    move: Move
    origin: Origin | None = None


class Version(Struct, frozen=True):
    """A named blend. Lanes that are not in `moves` stay as recorded; those not in `balances` take part in the
    centre, neither louder nor quieter."""

    id: str
    name: str
    moves: dict[str, Move] = field(default_factory=dict)  # by lane id; never changed in place
    balances: dict[str, Balance] = field(default_factory=dict)  # by lane id; never changed in place
    note: str = ""
    origins: dict[str, Origin] = field(default_factory=dict)  # by lane id; `origin` tells which still hold
    trying: dict[str, Before] = field(default_factory=dict)  # lanes that are only tried where they are
    extra: dict[str, Any] = field(default_factory=dict)

    def move(self, lane_id: str) -> Move:
        """Shift and polarity of a lane; no shift and no flip where none is kept."""
        return self.moves.get(lane_id, NO_MOVE)

    def balance(self, lane_id: str) -> Balance:
        """Gain, pan and mute of a lane; as it is where none is kept."""
        return self.balances.get(lane_id, AS_IT_IS)

    @property
    def as_recorded(self) -> Version:
        """The original that this version is compared with: its balance, the timing as recorded."""
        return Version(ORIGINAL_ID, ORIGINAL.name, ORIGINAL.moves, self.balances)

    def origin(self, lane_id: str) -> Origin | None:
        """How the lane came to its shift; None where it is as recorded or nobody wrote it down."""
        origin = self.origins.get(lane_id)
        holds = origin is not None and origin.move.shift_samples == self.move(lane_id).shift_samples
        return origin if holds else None


ORIGINAL = Version(id=ORIGINAL_ID, name="Original")


class Trial(Struct, frozen=True):
    """A finished blind trial."""

    mode: str  # "abx", "odd" or "preference"
    version_ids: tuple[str, str]
    planned: int  # trials fixed before the start
    answers: tuple[bool, ...]  # abx, odd: right or wrong; preference: chose the second version
    probability: float  # exact one-sided binomial, p = 1/2 (abx), 1/3 (odd); two-sided (preference)
    when: str  # ISO 8601, local time with offset
    note: str = ""
    discarded: int = 0  # runs of the same kind that were begun before it and not kept


class Ranked(Struct, frozen=True):
    """One place of a ranking. Shares are 0..1: how often it is preferred to one of average strength."""

    id: str  # of the version or combination
    name: str  # as it was called then
    wins: int  # how often it was preferred
    share: float
    low: float  # 95 % confidence interval of `share`
    high: float


class Ranking(Struct, frozen=True):
    """What a blind run of paired comparisons came to."""

    places: tuple[Ranked, ...]  # best first
    planned: int  # choices fixed before the start
    probability: float  # that chance alone spreads the choices as far
    when: str  # ISO 8601, local time with offset
    note: str = ""


class Mark(Struct, frozen=True):
    """What the engineer thinks of a combination."""

    rating: int = 0  # 1 to MOST_STARS; 0: none given
    struck: bool = False  # out of the running


MOST_STARS = 5


def run_key(mode: str, version_ids: tuple[str, str]) -> str:
    """What runs of trials are counted by: the same question about the same two versions."""
    return " ".join((mode, *sorted(version_ids)))


class Marker(Struct, frozen=True):
    """A named place of the take, or a region of it."""

    at_samples: int  # session time
    name: str
    stop_samples: int | None = None  # where a region ends; None for a place


class Session(Struct, frozen=True):
    """One take and everything decided about it. Times are samples at `rate_hz`.

    Session time 0 is where the earliest recording starts, as recorded.
    """

    rate_hz: int
    lanes: tuple[Lane, ...]
    name: str = "Untitled take"
    versions: tuple[Version, ...] = (Version(id="v1", name="Shifted"),)  # the original is not listed
    current_version_id: str = "v1"
    anchor_id: str | None = None
    alignment: Alignment | None = None
    temperature_c: float = DEFAULT_TEMPERATURE_C
    time_reference: int | None = None  # of session time 0: samples since midnight at rate_hz
    loop: tuple[int, int] | None = None  # start, stop
    level_match: bool = True
    trials: tuple[Trial, ...] = ()
    discarded_runs: dict[str, int] = field(
        default_factory=dict
    )  # of trials, by `run_key`, since the last kept
    marks: dict[str, Mark] = field(default_factory=dict)  # by a combination's id (`combinations.cells.Cell`)
    rankings: tuple[Ranking, ...] = ()
    markers: tuple[Marker, ...] = ()  # in order of time
    notes: str = ""
    extra: dict[str, Any] = field(default_factory=dict)

    def lane(self, lane_id: str) -> Lane:
        """Raises NotInSession."""
        for lane in self.lanes:
            if lane.id == lane_id:
                return lane
        raise NotInSession("lane", lane_id, (lane.id for lane in self.lanes))

    def lane_named(self, name: str) -> Lane:
        """The lane of that name, capitals ignored. Raises NotInSession."""
        for lane in self.lanes:
            if lane.name.casefold() == name.casefold():
                return lane
        raise NotInSession("lane", name, (lane.name for lane in self.lanes))

    def version(self, version_id: str) -> Version:
        """Raises NotInSession."""
        for version in self.versions:
            if version.id == version_id:
                return version
        if version_id == ORIGINAL_ID:
            return self.original
        raise NotInSession("version", version_id, (ORIGINAL_ID, *(version.id for version in self.versions)))

    def has_version(self, version_id: str) -> bool:
        """Whether there is such a version; Original always counts."""
        return any(version_id == version.id for version in (ORIGINAL, *self.versions))

    @property
    def current_version(self) -> Version:
        """The version that edits go to. Raises NotInSession."""
        return self.version(self.current_version_id)

    @property
    def original(self) -> Version:
        """The current version at the timing as recorded, so that timing alone can be judged."""
        return self.current_version.as_recorded

    def compared(self, *version_ids: str) -> Session:
        """The session to compare these versions in: its original is the last one's at the timing as recorded.

        Raises NotInSession.
        """
        own = [self.version(version_id).id for version_id in version_ids if version_id != ORIGINAL_ID]
        return replace(self, current_version_id=own[-1]) if own else self

    def version_names(self) -> tuple[tuple[str, str], ...]:
        """Id and name of every version: original, then the others in their order."""
        return tuple((version.id, version.name) for version in (ORIGINAL, *self.versions))

    def audible_lanes(self, version: Version) -> tuple[Lane, ...]:
        """Lanes that sound in a version: the soloed ones if any is, else those that take part in it."""
        soloed = tuple(lane for lane in self.lanes if lane.solo)
        return soloed or tuple(lane for lane in self.lanes if not version.balance(lane.id).mute)

    def span(self, *versions: Version) -> tuple[int, int]:
        """First and one-past-last session sample that any lane reaches, as recorded or in `versions`.

        Starts below 0 when a version moves a lane earlier than the first recording.
        """
        start, stop = 0, 0
        for lane in self.lanes:
            for move in {NO_MOVE, *(version.move(lane.id) for version in versions)}:
                first, last = lane.reach(self.rate_hz, move)
                start, stop = min(start, first), max(stop, last)
        return start, stop
