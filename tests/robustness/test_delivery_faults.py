"""A part of `delivery_faults.py`: system calls of a real delivery that fail, each once."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from tests.robustness import delivery_faults

STEP = 23  # a prime number: of each kind of call some are met


@pytest.mark.skipif(not delivery_faults.can_run(), reason="needs Linux and a C compiler")
@pytest.mark.parametrize("job", delivery_faults.JOBS)
def test_a_system_call_may_fail_at_any_time_of_a_delivery(job: str) -> None:
    command = [sys.executable, Path(delivery_faults.__file__), "--step", str(STEP), "--jobs", job]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=600)
    assert done.returncode == 0 and "0 wrong" in done.stdout, done.stdout + done.stderr
    assert "refused" in done.stdout and "delivered" in done.stdout
