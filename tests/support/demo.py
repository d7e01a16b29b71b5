"""The demo takes as stored, and the generator that made them."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

FOLDER = Path(__file__).parents[2] / "demo_sessions"
TAKES = ("chapel", "kit")
sys.path.append(str(FOLDER))  # as when make_demo.py is run

import make_demo  # noqa: E402
from generator import room, scene  # noqa: E402

__all__ = ["FOLDER", "TAKES", "make_demo", "room", "samples", "scene", "truth"]


def truth(take: str) -> dict[str, Any]:
    table: dict[str, Any] = json.loads((FOLDER / take / "truth.json").read_text(encoding="utf-8"))
    return table


def samples(take: str, lane: str) -> np.ndarray:
    """Stored samples of a lane, int16, shape (frames,)."""
    stored, _ = soundfile.read(FOLDER / take / f"{lane}.flac", dtype="int16")
    return np.asarray(stored)
