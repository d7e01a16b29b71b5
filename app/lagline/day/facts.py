"""What the list shows of a take: its session in short, and a small picture of its sum."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from msgspec.structs import replace

from lagline.blend.clips import open_clips
from lagline.blend.mix import blend
from lagline.day.values import PICTURE_COLUMNS, Facts, LaneFact
from lagline.errors import Cancelled
from lagline.session.values import Session
from lagline.spread import unstoppable

BLOCK = 2**18  # samples of the sum made at once
QUIETEST_DB = -60.0  # drawn as nothing


def facts_of(session: Session, stamp: str = "") -> Facts:
    """A session in short; `stamp` is that of its file."""
    alignment, version = session.alignment, session.current_version
    lanes = []
    for lane in session.lanes:
        found = alignment.finding(lane.id) if alignment is not None else None
        move = version.move(lane.id)
        fact = LaneFact(
            lane.name,
            shift_samples=move.shift_samples,
            is_flipped=move.polarity < 0,
            fingerprint=lane.source.fingerprint,
        )
        if found is not None:
            fact = replace(
                fact,
                arrival_samples=found.arrival_samples,
                uncertainty_samples=found.uncertainty_samples,
                polarity=found.told_polarity,
                trust_word=found.trust_word,
            )
        lanes.append(fact)
    start, stop = session.span()
    return Facts(
        rate_hz=session.rate_hz,
        length_s=max(stop - start, 0) / session.rate_hz,
        lanes=tuple(lanes),
        stamp=stamp,
        temperature_c=session.temperature_c,
        anchor=session.lane(alignment.anchor_id).name if alignment is not None else "",
        is_lined_up=any(version.origin(lane.id) is not None for lane in session.lanes),
        versions=tuple(version.name for version in session.versions),
    )


def picture_of(session: Session, *, cancelled: Callable[[], bool] = unstoppable) -> bytes:
    """The peak of the current version's sum in each of `PICTURE_COLUMNS` stretches: 0 (silence, or less than
    -60 dB below the loudest) to 255. Raises MediaError, Cancelled.
    """
    clips, version = open_clips(session), session.current_version
    start, stop = session.span(version)
    edges = np.linspace(start, stop, PICTURE_COLUMNS + 1).astype(np.int64)
    peaks = np.zeros(PICTURE_COLUMNS)
    for at in range(start, stop, BLOCK):
        if cancelled():
            raise Cancelled
        until = min(at + BLOCK, stop)
        loud = np.abs(blend(session, version, clips, at, until - at)).max(axis=1)
        for column in range(
            int(np.searchsorted(edges, at, "right")) - 1, int(np.searchsorted(edges, until, "left"))
        ):
            part = loud[max(edges[column] - at, 0) : max(edges[column + 1] - at, 0)]
            if len(part):
                peaks[column] = max(peaks[column], float(part.max()))
    loudest = peaks.max(initial=0.0)
    if not loudest > 0.0:
        return bytes(PICTURE_COLUMNS)
    levels = 20.0 * np.log10(np.maximum(peaks / loudest, 1e-9))
    return bytes(np.rint(255.0 * np.clip(1.0 - levels / QUIETEST_DB, 0.0, 1.0)).astype(np.uint8))
