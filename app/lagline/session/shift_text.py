"""Shifts and polarities of lanes as a text: to copy, to paste into a table, and to take over elsewhere."""

from __future__ import annotations

import re
from collections.abc import Iterable

from msgspec import Struct
from msgspec.structs import replace

from lagline.session.edits import with_move
from lagline.session.values import Session

HEADING = re.compile(r"lane\tshift, samples at (\d+) Hz\tpolarity")
CELLS = re.compile(r"([^\t]+)\t(-?\d+(?:\.\d+)?(?:e[-+]?\d+)?)\t([-+]1)")


class Copied(Struct, frozen=True):
    """The shift and polarity of one lane."""

    name: str
    shift_samples: float  # at `rate_hz`, positive is later
    polarity: int
    rate_hz: int


def shift_text(session: Session, lane_ids: Iterable[str]) -> str:
    """A heading and a line a lane, cells apart by tabs."""
    lines = [f"lane\tshift, samples at {session.rate_hz} Hz\tpolarity"]
    for lane_id in lane_ids:
        move = session.current_version.move(lane_id)
        lines.append(f"{session.lane(lane_id).name}\t{move.shift_samples!r}\t{move.polarity:+d}")
    return "\n".join(lines) + "\n"


def copied(text: str) -> tuple[Copied, ...]:
    """What `shift_text` wrote. Raises ValueError for anything else."""
    heading, *lines = text.strip().splitlines() or [""]
    head, cells = HEADING.fullmatch(heading), [CELLS.fullmatch(line) for line in lines]
    found = [cell for cell in cells if cell is not None]
    if head is None or not found or len(found) < len(cells):
        raise ValueError("no shifts were copied: choose lanes, then copy their shifts")
    return tuple(Copied(cell[1], float(cell[2]), int(cell[3]), int(head[1])) for cell in found)


def with_copied(session: Session, shifts: Iterable[Copied], chosen: Iterable[str]) -> Session:
    """The session with copied shifts: a single one on every chosen lane, several on the lanes of their names.

    Raises ValueError, naming what was copied, where no lane has such a name.
    """
    shifts = tuple(shifts)
    by_name = {lane.name.casefold(): lane.id for lane in session.lanes}
    if len(shifts) == 1:
        onto = [(lane_id, shifts[0]) for lane_id in chosen]
    else:
        onto = [(by_name[one.name.casefold()], one) for one in shifts if one.name.casefold() in by_name]
    if not onto:
        raise ValueError(f"no lane here is called {' or '.join(one.name for one in shifts)}")
    for lane_id, one in onto:
        move = replace(
            session.current_version.move(lane_id),
            shift_samples=one.shift_samples * session.rate_hz / one.rate_hz,
            polarity=one.polarity,
        )
        session = with_move(session, lane_id, move, by="hand")
    return session
