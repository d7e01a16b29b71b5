"""What the health table says of each lane: a pure function of what the reading pass found. No Qt."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

from msgspec import Struct

from lagline.desk.panels.figures import clock_text, signed
from lagline.media.health import Health, remarks, twin_sentences
from lagline.media.overview import FileOverview
from lagline.media.probe import RecordingInfo
from lagline.session.values import Session

ALL_WELL = "Nothing wrong found."
STILL_READING = "Still being read."
BITS_WORDS = {"FLOAT": "32-bit float", "DOUBLE": "64-bit float"}


class HealthRow(Struct, frozen=True):
    """One lane: `facts` in a few words, then sentences; `grade` is the worst of them."""

    name: str
    file: str
    facts: str
    problems: tuple[str, ...]
    notes: tuple[str, ...]
    lane_id: str | None = None

    @property
    def grade(self) -> str:
        """`problem`, `note` or `well`."""
        return "problem" if self.problems else "note" if self.notes else "well"

    @property
    def sentences(self) -> tuple[str, ...]:
        """All that is said of the recording, problems first; never empty."""
        return (*self.problems, *self.notes) or (ALL_WELL,)


def health_rows(session: Session, files: Mapping[Path, FileOverview]) -> tuple[HealthRow, ...]:
    """A row a lane, in the session's order. `files`: what has been read to the end so far."""
    rows = []
    known: dict[str, Health] = {}
    for lane in session.lanes:
        found = files.get(lane.source.path)
        if found is None or lane.source.channel >= len(found.health):
            file = _file(lane.source.path.name, lane.source.channel, 1)
            rows.append(HealthRow(lane.name, file, "", (), (STILL_READING,), lane.id))
            continue
        health = found.health[lane.source.channel]
        known[lane.name] = health
        said = remarks(lane.name, found.info, health)
        rows.append(
            HealthRow(
                lane.name,
                _file(lane.source.path.name, lane.source.channel, found.info.channels),
                _facts(found, health),
                tuple(remark.text for remark in said if remark.grade == "problem"),
                tuple(remark.text for remark in said if remark.grade == "note"),
                lane.id,
            )
        )
    twins = twin_sentences(known)
    if twins:
        rows.append(HealthRow("The take", "", "", twins, ()))
    return tuple(rows)


def problem_rows(problems: tuple[str, ...]) -> tuple[HealthRow, ...]:
    """What opening the take had to say that belongs to no lane."""
    return (HealthRow("The take", "", "", problems, ()),) if problems else ()


def _file(name: str, channel: int, channels: int) -> str:
    return name if channels == 1 else f"{name}, channel {channel + 1}"


def _facts(found: FileOverview, health: Health) -> str:
    info = found.info
    peak = "silent" if math.isinf(health.peak_db) else f"peak {signed(health.peak_db, 1)} dBFS"
    return f"{clock_text(info.duration_s)} · {info.rate_hz / 1000:g} kHz · {bits_text(info)} · {peak}"


def bits_text(info: RecordingInfo) -> str:
    """`24 bit`, `32-bit float`, or the format where samples have no such size."""
    return BITS_WORDS.get(info.subtype) or (f"{info.bits} bit" if info.bits else info.format)
