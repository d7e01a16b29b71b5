"""Every test runs without a screen, with a cache of its own, away from the developer's settings."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# No deadline: tests that judge time fail on a busy machine. `tests/benchmarks` measure.
settings.register_profile("lagline", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("lagline")

os.environ["QT_QPA_PLATFORM"] = "offscreen"  # before anything imports Qt


@pytest.fixture(scope="session", autouse=True)
def own_folders(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Cache, settings and logs of this run, so that no test sees or leaves anything at home."""
    folder = tmp_path_factory.mktemp("home")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LAGLINE_CACHE_DIR", str(folder / "cache"))
        for name in ("XDG_CONFIG_HOME", "XDG_STATE_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME"):
            patch.setenv(name, str(folder / name.lower()))
        yield folder
