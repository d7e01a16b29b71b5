"""Signals that ask to end: the first one stops the work, what follows disturbs nothing."""

from __future__ import annotations

import subprocess
import sys

import pytest

ENDS = """
import os, signal
from lagline.cli.stopping import stopped_by_signals
try:
    with stopped_by_signals() as heard:
        {work}
except KeyboardInterrupt:
    pass
os.kill(os.getpid(), signal.SIGHUP)
print("ended by itself", heard.exit_code)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGHUP")
@pytest.mark.parametrize(
    ("work", "code", "said"),
    [("os.kill(os.getpid(), signal.SIGTERM)", 0, "ended by itself 143\n"), ("pass", -1, "")],
)
def test_once_stopped_the_end_of_the_process_is_not_disturbed(work: str, code: int, said: str) -> None:
    done = subprocess.run([sys.executable, "-c", ENDS.format(work=work)], capture_output=True, text=True)
    assert (done.returncode, done.stdout) == (code, said)
