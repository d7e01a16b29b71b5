"""Work in processes ends with whoever started it, whatever ends that, and says nothing but what it should."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from tests.support.processes import wait_for

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such signals"),
    pytest.mark.slow,
]
ROOT = Path(__file__).parents[3]
STARTED = """
import signal
import sys
signal.signal(signal.SIGINT, signal.default_int_handler)  # whoever runs this may ignore it in the background
from pathlib import Path
from tests.support.batch_work import slowly
from lagline.cli.stopping import stopped_by_signals
from lagline.jobs.batch import BatchOptions, run_batch
from lagline.jobs.find_takes import FoundTake
takes = [FoundTake(f"take {n}", ()) for n in range(500)]
try:
    with stopped_by_signals():
        run_batch(takes, Path(sys.argv[1]), BatchOptions(), workers=2, progress=lambda _: None, work=slowly)
except KeyboardInterrupt:
    print("stopped", flush=True)
"""


def members(group: int) -> list[str]:
    """Command lines of the processes of a group."""
    found = []
    for place in Path("/proc").glob("[0-9]*"):
        try:
            # pid (name) state ppid pgrp: the name may hold anything
            state, _, its_group = (place / "stat").read_text().rpartition(")")[2].split()[:3]
            if int(its_group) == group and state != "Z":
                found.append((place / "cmdline").read_text().replace("\0", " "))
        except OSError:
            continue
    return found


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks for processes in /proc")
@pytest.mark.parametrize("to_all", [False, True], ids=["parent", "group"])
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT, signal.SIGKILL])
def test_nobody_is_left_and_nothing_is_said(tmp_path: Path, number: signal.Signals, to_all: bool) -> None:
    if to_all and number == signal.SIGKILL:
        pytest.skip("nobody is left to look after")
    parent = subprocess.Popen(
        [sys.executable, "-c", STARTED, str(tmp_path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT / "app"), str(ROOT)])},
    )
    wait_for(lambda: len([*tmp_path.glob("*.done")]) >= 3, parent)
    (os.killpg if to_all else os.kill)(parent.pid, number)
    out, err = parent.communicate(timeout=60)
    wait_for(lambda: not members(parent.pid))
    assert out == ("" if number == signal.SIGKILL else "stopped\n")
    assert err == ""
