"""Damage to bytes and to JSON documents, the same for the same random generator."""

from __future__ import annotations

import copy
import json
import random
from collections.abc import Callable, Sequence
from typing import Any

LONGEST_BYTES = 1 << 16
_NUMBERS = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFE, 0xFFFFFFFF)
HOSTILE: tuple[Any, ...] = (
    None, True, False, 0, 1, -1, 2**31, 2**53, 2**63 - 1, 2**63, 2**64, -(2**63), 10**30, 0.5, -0.0, 1e-320,
    1e12, 1e13, 1e308, -1e308, float("nan"), float("inf"), float("-inf"), "", " ", "\0", "a" * 5000,
    "=1+1", "@SUM(1)", "+cmd", "-2", "<b>x</b>", "<img src='file:///etc/hostname'>", "{{ 7*7 }}", "%s%n",
    "../../../../etc/passwd", "/dev/zero", "/dev/stdin", "\ud800", "\u202egnp.exe", "é" * 300, "CON",
    "original", [], {}, [[]], [0, 0], [1, 0], [[[[[[[[[[]]]]]]]]]], {"": {}}, [None], ["a", "a"],
    {"schema": 1},
)  # fmt: skip


def damaged_bytes(data: bytes, rng: random.Random, others: Sequence[bytes] = ()) -> bytes:
    """A few small changes: bits, bytes, numbers at the borders, pieces cut, doubled, moved or taken over."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 3, 5, 9))):
        _change(out, rng, others)
    return bytes(out[:LONGEST_BYTES])


def _change(out: bytearray, rng: random.Random, others: Sequence[bytes]) -> None:
    kind = rng.randrange(8)
    # Headers decide, so most of the damage goes there.
    at = rng.randrange(min(len(out), rng.choice((48, 200, 1000, 1 << 30)))) if out else 0
    if not out or kind == 0:
        out[at:at] = rng.randbytes(rng.randrange(1, 9))
    elif kind == 1:
        out[at] ^= 1 << rng.randrange(8)
    elif kind == 2:
        out[at] = rng.randrange(256)
    elif kind == 3:
        size = rng.choice((2, 4, 8))
        number = rng.choice((*_NUMBERS, rng.randrange(1 << 32), 1 << 63, (1 << 64) - 1)) % (1 << 8 * size)
        out[at : at + size] = number.to_bytes(size, rng.choice(("little", "big")))
    elif kind == 4:
        del out[at : at + rng.randrange(1, 64)]
    elif kind == 5:
        del out[rng.randrange(len(out)) :]
    elif kind == 6:
        out[at:at] = out[at : at + rng.randrange(1, 64)] * rng.randrange(1, 4)
    elif others:
        other = rng.choice(others)
        start = rng.randrange(len(other)) if other else 0
        out[at:at] = other[start : start + rng.randrange(1, 64)]


def damaged_json(data: bytes, rng: random.Random, others: Sequence[bytes] = ()) -> bytes:
    """A document with values, keys or branches changed, still JSON (with NaN) most of the time."""
    if rng.random() < 0.25:
        return damaged_bytes(data, rng, others)
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        return damaged_bytes(data, rng, others)
    for _ in range(rng.choice((1, 1, 2, 4))):
        places = list(_places(document))
        if not places:
            break
        _damage_place(*rng.choice(places), rng)
    return json.dumps(document).encode()[:LONGEST_BYTES]


def _places(value: Any) -> Sequence[tuple[Any, Any]]:
    found: list[tuple[Any, Any]] = []
    waiting = [value]
    while waiting:
        inner = waiting.pop()
        keys = (
            list(inner) if isinstance(inner, dict) else range(len(inner)) if isinstance(inner, list) else ()
        )
        for key in keys:
            found.append((inner, key))
            waiting.append(inner[key])
    return found


def _damage_place(holder: Any, key: Any, rng: random.Random) -> None:
    kind = rng.randrange(6)
    if kind <= 2:
        holder[key] = copy.deepcopy(rng.choice(HOSTILE))
    elif kind == 3:
        del holder[key]
    elif kind == 4 and isinstance(holder, list):
        holder.extend(copy.deepcopy(holder[key]) for _ in range(rng.choice((1, 2, 50))))
    elif isinstance(holder, dict):
        holder[str(rng.choice(HOSTILE))[:40]] = copy.deepcopy(holder[key])
    elif isinstance(holder[key], (int, float)):
        holder[key] = holder[key] * rng.choice((-1, 0, 2, 1e6, 1e300))


def damaged_words(data: bytes, rng: random.Random, words: Sequence[str]) -> bytes:
    """A command line, its words parted by NUL, with words changed, dropped, added or damaged."""
    line = [word for word in data.decode("utf-8", "replace").split("\0") if word]
    for _ in range(rng.choice((1, 1, 2, 3, 6))):
        kind, at = rng.randrange(5), rng.randrange(len(line) + 1)
        if kind <= 1 or not line:
            line.insert(at, rng.choice(words))
        elif kind == 2:
            del line[at % len(line)]
        elif kind == 3:
            line[at % len(line)] = rng.choice(words)
        else:
            word = line[at % len(line)].encode("utf-8", "surrogateescape")
            line[at % len(line)] = damaged_bytes(word, rng).decode("utf-8", "replace").replace("\0", "")
    return "\0".join(line).encode("utf-8", "replace")


Damage = Callable[[bytes, random.Random, Sequence[bytes]], bytes]
