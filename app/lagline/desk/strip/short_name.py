"""Names that are too long for their place, cut so that they can still be told apart. No Qt."""

from __future__ import annotations

from collections.abc import Callable, Iterable

CUT = "…"


def short_name(name: str, others: Iterable[str], fits: Callable[[str], bool]) -> str:
    """As much of a name as fits: its beginning; its two ends or its end where others begin alike.

    others : the names it must not be taken for. Where no cut tells it from all of them, both ends are kept.
    """
    if fits(name):
        return name
    rivals = [other for other in others if other != name]
    cuts = [_longest(name, fits, part) for part in (0.0, 0.5, 1.0)]
    for head, tail in cuts:
        if not any(_cut(rival, head, tail) == _cut(name, head, tail) for rival in rivals):
            return _cut(name, head, tail)
    return _cut(name, *cuts[1])


def _longest(name: str, fits: Callable[[str], bool], part: float) -> tuple[int, int]:
    """How many letters of the beginning and of the end, of which `part` at the end, have room."""
    for kept in range(len(name) - 1, 1, -1):
        tail = round(part * kept)
        if fits(_cut(name, kept - tail, tail)):
            return kept - tail, tail
    return (0, 1) if part == 1.0 else (1, 0)


def _cut(name: str, head: int, tail: int) -> str:
    return name[:head].rstrip() + CUT + (name[-tail:].lstrip() if tail else "")
