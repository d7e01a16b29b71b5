"""A save that is killed at any call leaves the old session or the new one, and the restore points, whole."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.support import killed_saves


@pytest.mark.skipif(not hasattr(os, "fork"), reason="killing is tried where processes can be forked")
def test_a_save_killed_at_any_call_leaves_the_old_or_the_new_session(tmp_path: Path) -> None:
    script = Path(killed_saves.__file__)
    done = subprocess.run(
        [sys.executable, script, tmp_path / "work"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout)
    # Two files, each made, written, put on the disk and renamed; then sizes up to the file's own.
    assert result["killed"] > 20
    assert set(result["sessions"]) == {"old", "new"}
    assert set(result["points"]) <= {"older", "old"}
