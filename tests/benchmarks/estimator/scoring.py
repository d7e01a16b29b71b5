"""What counts as right, and the figures of many lanes: pure functions on plain rows.

A row is one lane of one take: its truth (`points`, `ranges`, `match`, ... as in cases.py) and `said`
{arrival, uncertainty, polarity, polarity_trust, trust, word, drift_ppm}, and `peers` {name: [lag, polarity]}.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np

Row = dict[str, Any]
WITHIN = 1.0  # samples
UNSURE = 0.8  # a polarity trusted less than this is called unclear
WORDS = ("strong", "usable", "weak")


def error(row: Row, arrival: float, drift_ppm: float = 0.0) -> float:
    """Samples from the nearest right answer, 0 inside a range.

    Of lanes that drift: the largest of the errors at a tenth, half and nine tenths of the anchor's length.
    """
    if row.get("drift_ppm") is not None:
        at = np.array([0.1, 0.5, 0.9]) * row["frames"]
        off = arrival - row["points"][0] + (drift_ppm - row["drift_ppm"]) * 1e-6 * at
        return float(np.max(np.abs(off)))
    gaps = [abs(arrival - p) for p in row["points"]]
    gaps += [max(low - arrival, arrival - high, 0.0) for low, high in row["ranges"]]
    return float(min(gaps))


def is_right(row: Row, arrival: float | None, drift_ppm: float = 0.0) -> bool:
    """Within a sample of a point, or inside a range; where nothing matches, only no answer is right."""
    if not row["match"]:
        return arrival is None
    if arrival is None:
        return False
    if row.get("drift_ppm") is None and any(low <= arrival <= high for low, high in row["ranges"]):
        return True
    return bool(row["points"]) and error({**row, "ranges": []}, arrival, drift_ppm) <= WITHIN


def lane_right(row: Row) -> bool:
    return is_right(row, row["said"]["arrival"], row["said"]["drift_ppm"] or 0.0)


def peer_right(row: Row, name: str) -> bool:
    return is_right(row, row["peers"][name][0])


def share(parts: Iterable[bool]) -> tuple[int, int]:
    """How many, of how many."""
    parts = list(parts)
    return sum(parts), len(parts)


def covered(row: Row) -> bool:
    """Is the error within twice what was quoted?"""
    said = row["said"]
    return error(row, said["arrival"], said["drift_ppm"] or 0.0) <= 2 * (said["uncertainty"] or 0.0)


def figures(rows: Sequence[Row]) -> dict[str, Any]:
    """The figures of a group of lanes; [count, of] pairs where a share is meant."""
    known = [r for r in rows if r["match"] is not None]
    matching = [r for r in known if r["match"]]
    answered = [r for r in matching if r["said"]["arrival"] is not None]
    right = [r for r in answered if lane_right(r)]
    strangers = [r for r in known if not r["match"]]
    out: dict[str, Any] = {
        "lanes": len(matching),
        "right": [len(right), len(matching)],
        "refused": [len(matching) - len(answered), len(matching)],
        "strangers_refused": share(r["said"]["arrival"] is None for r in strangers),
        "spots": share(lane_right(r) for r in matching if r["own"]),
        "polarity": share(r["said"]["polarity"] == r["polarity"] for r in right if r["polarity"]),
        "unclear": share(
            r["said"]["polarity"] is None or r["said"]["polarity_trust"] < UNSURE
            for r in answered
            if r["polarity"] is None
        ),
        "covered": share(covered(r) for r in answered),
        "wrong": sum(not lane_right(r) for r in known),
        "calibration_error": calibration_error(known),
    }
    for word in WORDS:
        out[word] = share(lane_right(r) for r in known if r["said"]["word"] == word)
    with_peers = [r for r in known if r["peers"]]
    out["peers"] = {
        name: {
            "right": share(peer_right(r, name) for r in with_peers if r["match"]),
            "wrong": sum(not peer_right(r, name) for r in with_peers),
        }
        for name in (with_peers[0]["peers"] if with_peers else ())
    }
    return out


def by(rows: Sequence[Row], key: Callable[[Row], str]) -> dict[str, list[Row]]:
    """Rows grouped, in order of first appearance."""
    out: dict[str, list[Row]] = {}
    for row in rows:
        out.setdefault(key(row), []).append(row)
    return out


def reliability(
    rows: Sequence[Row], edges: Sequence[float] = tuple(np.linspace(0, 1, 11))
) -> list[dict[str, Any]]:
    """For each range of trust: how many lanes were proposed, the mean trust, and the share that was right."""
    asked = [r for r in rows if r["match"] is not None and r["said"]["arrival"] is not None]
    trust = np.array([r["said"]["trust"] for r in asked])
    good = np.array([lane_right(r) for r in asked], bool)
    place = np.clip(np.searchsorted(edges, trust, "right") - 1, 0, len(edges) - 2)
    out = []
    for k in range(len(edges) - 1):
        mine = place == k
        if np.any(mine):
            out.append(
                {
                    "from": float(edges[k]),
                    "to": float(edges[k + 1]),
                    "lanes": int(mine.sum()),
                    "said": float(trust[mine].mean()),
                    "right": float(good[mine].mean()),
                }
            )
    return out


def calibration_error(rows: Sequence[Row]) -> float | None:
    """Expected calibration error: mean gap of trust and share right over ten ranges, weighted by lanes.

    Source: M. P. Naeini, G. F. Cooper, M. Hauskrecht, AAAI 29 (2015) 2901-2907.
    """
    table = reliability(rows)
    total = sum(b["lanes"] for b in table)
    if not total:
        return None
    return sum(b["lanes"] * abs(b["said"] - b["right"]) for b in table) / total


def source_lags(
    case_sources: dict[str, dict[str, list[float]]], said: dict[str, dict[str, float]]
) -> tuple[int, int]:
    """Lags by source that are in their band, of all there are; a source or lane left out counts as wrong."""
    good = total = 0
    for source, row in case_sources.items():
        for lane, (low, high) in row.items():
            total += 1
            value = said.get(source, {}).get(lane)
            good += value is not None and low <= value <= high
    return good, total
