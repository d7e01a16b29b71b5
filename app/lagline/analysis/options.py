"""What the engineer asks of the analysis."""

from __future__ import annotations

import math

from msgspec import Struct

LATEST, FIRST = "latest", "first"


class AnalysisOptions(Struct, frozen=True):
    """How to measure a take.

    anchor : "latest" (the lane that hears the source last, so that every other lane is only delayed),
        "first" (the lane that hears it first), or a lane's id.
    search_ms : look for arrivals only within this many ms on either side of how the lanes lie now;
        None looks near first and over the whole take where nothing near matches.
    source : id of the lane at an instrument: lanes that stand at none are lined up on it. None: each where
        the evidence for it is best.
    start, stop : measure only this stretch of the session, in session samples; None for the ends.
    """

    anchor: str = LATEST
    search_ms: float | None = None
    source: str | None = None
    start: int | None = None
    stop: int | None = None

    def __post_init__(self) -> None:
        if self.search_ms is not None and not (math.isfinite(self.search_ms) and self.search_ms > 0):
            raise ValueError("a search range is a number of ms above 0")
        if self.start is not None and self.stop is not None and self.start >= self.stop:
            raise ValueError("a passage ends after it starts")
