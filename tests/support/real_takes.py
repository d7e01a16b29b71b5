"""Where the real multi-microphone recordings are, and what to do where they are not."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2].parent / "shared" / "real-takes"


def take(name: str) -> list[Path]:
    """The lanes of one real take, by file name; skips the test where the recordings are absent."""
    folder = ROOT / name
    if not folder.is_dir():
        pytest.skip(f"the real recordings are not here: {folder} is absent")
    return sorted(folder.glob("*.flac"))
