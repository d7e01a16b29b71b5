"""How session files of earlier formats become the present one: pure functions on what the JSON held.

They meet files that anybody wrote. What lacks the shape they look for is left to the checks that follow.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

_BALANCE = ("gain_db", "pan", "mute")


def balances_into_versions(document: dict[str, Any]) -> dict[str, Any]:
    """From 1 to 2: gain, pan and mute of a lane, one for all versions until then, belong to each version."""
    lanes, versions = document.get("lanes"), document.get("versions")
    if not isinstance(lanes, list) or not isinstance(versions, list):
        return document
    new = {**document, "lanes": [_without(lane) for lane in lanes], "versions": _balanced(versions, lanes)}
    head = document.get("autosave")
    if isinstance(head, dict) and "history" in head:
        new["autosave"] = {**head, "history": _history(head["history"], lanes, versions)}
    return new


def _history(history: Any, lanes: list[Any], versions: list[Any]) -> Any:
    """The states of an autosave's history (see `session.history`) likewise, whichever parts they share."""
    try:
        parts, states = list(history["parts"]), []
        lane_parts = {number for row in history["states"] for number in row.get("lanes", ())}
        for row in history["states"]:
            if "lanes" in row or "versions" in row:
                its_lanes = [parts[number] for number in row["lanes"]] if "lanes" in row else lanes
                old = [parts[number] for number in row["versions"]] if "versions" in row else versions
                first = len(parts)
                parts += _balanced(old, its_lanes)
                row = {**row, "versions": list(range(first, len(parts)))}
            states.append(row)
        parts = [_without(part) if number in lane_parts else part for number, part in enumerate(parts)]
    except (AttributeError, IndexError, KeyError, TypeError):
        return history  # is refused as it is, and the work itself kept
    return {**history, "parts": parts, "states": states}


def _balanced(versions: Iterable[Any], lanes: Iterable[Any]) -> list[Any]:
    balances = {
        lane["id"]: {key: lane[key] for key in _BALANCE if key in lane}
        for lane in lanes
        if isinstance(lane, dict) and isinstance(lane.get("id"), str)
    }
    return [
        {**version, "balances": balances} if isinstance(version, dict) else version for version in versions
    ]


def _without(lane: Any) -> Any:
    if not isinstance(lane, dict):
        return lane
    return {key: value for key, value in lane.items() if key not in _BALANCE}
