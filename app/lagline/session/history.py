"""The way a session came to be, as values: what undo goes back and redo forward, and how it is kept on disk.

Sessions in a row share almost everything, by identity. Kept is only what a state does not share with the
current session, each part once, so that a hundred steps take some tens of kB.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any, get_type_hints

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from lagline.session.checks import check
from lagline.session.storage import plain, typed
from lagline.session.values import Lane, Session, Version

MOST_KEPT_STEPS = 200  # kept on disk, counted from the current session
MOST_BYTES = 4 * 2**20
_LISTS: dict[str, Any] = {"lanes": Lane, "versions": Version}


class History(Struct, frozen=True):
    """Sessions in their order, the name of each step between two, and which of them is the current one."""

    states: tuple[Session, ...]
    names: tuple[str, ...] = ()
    at: int = 0

    @property
    def current(self) -> Session:
        """The session that undo and redo have arrived at."""
        return self.states[self.at]


def with_current(history: History, session: Session) -> History:
    """The same way, with another session in the current one's place: its recordings were found again."""
    states = list(history.states)
    states[history.at] = session
    return History(tuple(states), history.names, history.at)


class _Packed(Struct):
    """As it stands in the file. A state names only what it does not share with the current session."""

    names: list[str]
    at: int
    states: list[dict[str, int | list[int]]]  # field: which part it is; a list of them for lanes and versions
    parts: list[Any]


def packed(history: History, folder: Path) -> dict[str, Any]:
    """The history for JSON, with paths relative to `folder`: the steps next to the current session.

    At most MOST_KEPT_STEPS of them, and as many as fit MOST_BYTES.
    """
    parts = _Parts(folder)
    rows: dict[int, dict[str, int | list[int]]] = {history.at: {}}
    back, forward = range(history.at - 1, -1, -1), range(history.at + 1, len(history.states))
    for way in (back, forward):
        for at in way:
            row = parts.row(history.states[at], history.current) if len(rows) <= MOST_KEPT_STEPS else None
            if row is None:
                break
            rows[at] = row
    first, last = min(rows), max(rows)
    states = [rows[at] for at in range(first, last + 1)]
    return {
        "names": list(history.names[first:last]), "at": history.at - first, "states": states,
        "parts": parts.encoded,
    }  # fmt: skip


class _Parts:
    """Parts of sessions, each encoded once. They are told apart by identity: the history keeps them alive."""

    def __init__(self, folder: Path) -> None:
        self.encoded: list[msgspec.Raw] = []
        self._folder = folder
        self._numbers: dict[int, int] = {}
        self._bytes = 0

    def row(self, state: Session, current: Session) -> dict[str, int | list[int]] | None:
        """What `state` does not share with `current`; None when there is no room for it."""
        changed = {
            name: value
            for name in Session.__struct_fields__
            if (value := getattr(state, name)) is not getattr(current, name)
        }
        new: dict[int, bytes] = {}
        for name, value in changed.items():
            for part in value if name in _LISTS else (value,):
                if id(part) not in self._numbers and id(part) not in new:
                    new[id(part)] = msgspec.json.encode(plain(part, self._folder))
        size = self._bytes + sum(len(text) for text in new.values())
        if size > MOST_BYTES:
            return None
        self._bytes = size
        for key, text in new.items():
            self._numbers[key] = len(self.encoded)
            self.encoded.append(msgspec.Raw(text))
        return {
            name: [self._numbers[id(part)] for part in value] if name in _LISTS else self._numbers[id(value)]
            for name, value in changed.items()
        }


def unpacked(fields: object, current: Session, folder: Path) -> History:
    """The opposite of `packed`. Raises ValueError for what makes no sense."""
    found = msgspec.convert(fields, _Packed)
    if len(found.states) != len(found.names) + 1 or not 0 <= found.at < len(found.states):
        raise ValueError("its steps and states do not belong together")
    kinds = get_type_hints(Session)
    made: dict[tuple[str, int], Any] = {}

    def part(name: str, number: int) -> Any:
        if not 0 <= number < len(found.parts):
            raise ValueError("a part of its history is not there")
        if (name, number) not in made:
            made[name, number] = typed(_LISTS.get(name, kinds[name]), found.parts[number], folder)
        return made[name, number]

    def state(row: dict[str, int | list[int]]) -> Session:
        changes: dict[str, Any] = {}
        for name, where in row.items():
            if name not in kinds or isinstance(where, list) != (name in _LISTS):
                raise ValueError(f"a session has no {name} like that")
            changes[name] = (
                tuple(part(name, n) for n in where) if isinstance(where, list) else part(name, where)
            )
        return replace(current, **changes)

    states = tuple(current if not row else state(row) for row in found.states)
    _check_all(states)
    return History(states, tuple(found.names), found.at)


def _check_all(states: Iterable[Session]) -> None:
    """Raises ValueError. What was measured is large and in many states: it is looked at once."""
    seen: set[tuple[int, tuple[str, ...]]] = set()
    for state in states:
        key = id(state.alignment), tuple(lane.id for lane in state.lanes)
        check(replace(state, alignment=None) if key in seen else state)
        seen.add(key)
