"""The cells of the combinations board: which lanes sound together, at which timing.

Lanes that are linked, a left and a right one for example, go together and count as one part.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence

from msgspec import Struct
from msgspec.structs import replace

from lagline.session.edits import fresh_version_id, with_version
from lagline.session.values import ORIGINAL_ID, Session, Version

MOST_PARTS = 8  # 255 combinations
USUAL_COMBINATIONS = 31  # of five parts; more on request


class Part(Struct, frozen=True):
    """What is heard or not as one: a lane, or lanes that are linked."""

    name: str
    lane_ids: tuple[str, ...]


class Cell(Struct, frozen=True):
    """One combination at one timing."""

    parts: tuple[Part, ...]
    version_id: str  # whose timing and balance it has; "original": the timing as recorded

    @property
    def name(self) -> str:
        """`Near + Far`."""
        return " + ".join(part.name for part in self.parts)

    @property
    def lane_ids(self) -> tuple[str, ...]:
        """Of all its parts, in their order."""
        return tuple(lane_id for part in self.parts for lane_id in part.lane_ids)

    @property
    def id(self) -> str:
        """Names the cell as long as lanes and versions keep their ids."""
        return " ".join(("cell", self.version_id, *self.lane_ids))


def parts_of(session: Session, lane_ids: Iterable[str] | None = None) -> tuple[Part, ...]:
    """The parts that the given lanes make, all lanes by default, in the session's order.

    Raises NotInSession.
    """
    chosen = [session.lane(lane_id).id for lane_id in lane_ids] if lane_ids is not None else None
    groups: dict[str, list[str]] = {}
    names: dict[str, list[str]] = {}
    for lane in session.lanes:
        if chosen is None or lane.id in chosen:
            key = lane.id if lane.link is None else f"link {lane.link}"
            groups.setdefault(key, []).append(lane.id)
            names.setdefault(key, []).append(lane.name)
    return tuple(Part(_group_name(names[key]), tuple(ids)) for key, ids in groups.items())


def laid_out(
    parts: Sequence[Part], version_ids: Iterable[str], most: int = USUAL_COMBINATIONS
) -> tuple[Cell, ...]:
    """Every combination of the parts, smallest first, each at every timing; all together are always there.

    Raises ValueError for no part, or more than MOST_PARTS.
    """
    if not parts or len(parts) > MOST_PARTS:
        raise ValueError(f"choose 1 to {MOST_PARTS} lanes or linked groups to combine, not {len(parts)}")
    together = [chosen for size in range(1, len(parts) + 1) for chosen in itertools.combinations(parts, size)]
    kept = together[: most - 1] + together[-1:] if len(together) > most else together
    timings = tuple(dict.fromkeys(version_ids))
    return tuple(Cell(tuple(chosen), version_id) for chosen in kept for version_id in timings)


def cell_version(session: Session, cell: Cell) -> Version:
    """The cell as a version: its lanes take part as their version balances them, the others do not.

    A lane that is muted in that version takes part where the cell has it. Raises NotInSession.
    """
    version, sounding = session.version(cell.version_id), set(cell.lane_ids)
    balances = {}
    for lane in session.lanes:
        balance, mute = version.balance(lane.id), lane.id not in sounding
        balances[lane.id] = balance if balance.mute == mute else replace(balance, mute=mute)
    return Version(cell.id, f"{cell.name}, {timing_name(session, cell)}", version.moves, balances)


def board_session(session: Session, cells: Iterable[Cell]) -> Session:
    """The session with the cells as its versions, to hear, measure and print them by `Cell.id`.

    Nothing is soloed in it. Raises NotInSession; ValueError without a cell.
    """
    versions = tuple(cell_version(session, cell) for cell in cells)
    if not versions:
        raise ValueError("choose a combination at least")
    return replace(
        session,
        lanes=tuple(replace(lane, solo=False) for lane in session.lanes),
        versions=versions,
        current_version_id=versions[0].id,
    )


def with_cell_kept(session: Session, cell: Cell, name: str) -> Session:
    """The session with the cell as one more version under a name; work goes on where it is."""
    timing = session.version(cell.version_id)
    version = replace(cell_version(session, cell), id=fresh_version_id(session), name=name)
    return with_version(session, replace(version, origins=timing.origins))


def timing_name(session: Session, cell: Cell) -> str:
    """`as recorded`, or the name of the version."""
    return "as recorded" if cell.version_id == ORIGINAL_ID else session.version(cell.version_id).name


def _group_name(names: list[str]) -> str:
    if len(names) == 1:
        return names[0]
    alike = itertools.takewhile(lambda letters: len(set(letters)) == 1, zip(*names, strict=False))
    shared = "".join(letters[0] for letters in alike).rstrip(" _-.(")
    return shared if len(shared) > 1 else "/".join(names)
