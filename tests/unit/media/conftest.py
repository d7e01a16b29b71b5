from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache folder of its own for each test."""
    folder = tmp_path / "cache"
    monkeypatch.setenv("LAGLINE_CACHE_DIR", str(folder))
    return folder
