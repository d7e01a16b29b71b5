"""What is known of the real recordings: the table of their README, and the manifests beside them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import NamedTuple

import numpy as np
import soundfile
from numpy.typing import NDArray
from tests.support.real_takes import ROOT


class Row(NamedTuple):
    """`second` hears the source `low`..`high` samples after `first`; polarity 0: not known."""

    first: str
    second: str
    low: float
    high: float
    polarity: int


SNARE = (
    Row("snare_top", "hihat", 34, 40, 1),
    Row("snare_top", "ohl", 101, 119, 1),
    Row("snare_top", "ohr", 114, 131, 1),
    Row("snare_top", "ambl", 312, 345, 0),
    Row("snare_top", "ambr", 310, 345, 0),
    Row("snare_top", "snare_bottom", 2, 32, -1),
)
KICK = (
    Row("ohl", "ohr", 34, 52, 0),
    Row("ohl", "ambl", 158, 198, 0),
    Row("ohl", "ambr", 196, 214, 0),
)
TABLE = {"snare": SNARE, "groove": SNARE, "kick": KICK}


def lanes_of(name: str) -> tuple[dict[str, NDArray[np.float64]], int]:
    """All lanes of a real take as arrays, by name, and their rate."""
    found: dict[str, NDArray[np.float64]] = {}
    rate_hz = 0
    for path in sorted((ROOT / name).glob("*.flac")):
        found[path.stem], rate_hz = soundfile.read(path)
    return found, rate_hz


def manifest_rows(name: str) -> tuple[Row, ...]:
    """Rows of a take's own manifest (its makers' estimates, with their uncertainty)."""
    truth = json.loads(Path(ROOT / name / "manifest.json").read_text(encoding="utf-8"))["ground_truth"]
    return tuple(
        Row(truth["reference"], lane, at["lag"] - at["uncertainty"], at["lag"] + at["uncertainty"], 0)
        for lane, at in truth["lag_samples"].items()
        if lane != truth["reference"]
    )


def with_manifest() -> list[str]:
    return sorted(path.parent.name for path in ROOT.glob("*/manifest.json"))


def manifest_bands(name: str) -> tuple[str, dict[str, dict[str, tuple[float, float]]]]:
    """Reference lane, and {instrument: {lane: (lowest, highest lag)}} of a take that holds several."""
    truth = json.loads(Path(ROOT / name / "manifest.json").read_text(encoding="utf-8"))["ground_truth"]
    bands: dict[str, dict[str, tuple[float, float]]] = {}
    for lane, at in truth["lag_samples"].items():
        told = {at.get("element", ""): [at["lag"], at["uncertainty"]], **at.get("alternatives", {})}
        for element, (lag, slack) in told.items():
            bands.setdefault(element, {})[lane] = (lag - slack, lag + slack)
    return truth["reference"], bands
