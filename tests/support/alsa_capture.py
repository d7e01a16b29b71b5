"""A sound device that writes what it is sent to a file: ALSA's "file" plugin over its "null" plugin.

It needs libportaudio2 and Linux, no hardware and no daemon. It runs faster than real time, so it proves
samples and says nothing of timing.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

NAME = "cap"
RAW_NAME = "capture.raw"
SYSTEM_CONF = Path("/usr/share/alsa/alsa.conf")
ROOT = Path(__file__).parents[2]


def require_portaudio() -> None:
    """Skip the test where the device cannot exist."""
    if not sys.platform.startswith("linux"):
        pytest.skip("the capture device is ALSA's, and this is not Linux")
    if not SYSTEM_CONF.exists():
        pytest.skip(f"ALSA is not installed: {SYSTEM_CONF} is absent")
    probe = subprocess.run([sys.executable, "-c", "import sounddevice"], capture_output=True, check=False)
    if probe.returncode:
        pytest.skip("PortAudio is not installed: sounddevice cannot be imported")


def configuration(folder: Path, *, file_each: bool = False) -> str:
    """Write the device's configuration into a folder; returns the value for ALSA_CONFIG_PATH.

    file_each : every opening of the device writes a file of its own, which `captured` puts together.
    """
    raw = folder / RAW_NAME
    conf = folder / "capture.conf"
    conf.write_text(
        f'pcm.{NAME} {{ type file slave {{ pcm {{ type null }} }} file "{raw}" format "raw" '
        f"truncate {int(not file_each)} "
        f'hint {{ show on description "capture to a file" }} }}\n'
    )
    return f"{SYSTEM_CONF}:{conf}"


def run_scripted(script: Path, folder: Path, *arguments: str) -> npt.NDArray[np.float32]:
    """Run a script against the device in a fresh process (ALSA reads its configuration once)."""
    environment = {
        **os.environ,
        "ALSA_CONFIG_PATH": configuration(folder),
        "PYTHONPATH": os.pathsep.join((str(ROOT), str(ROOT / "app"))),
    }
    done = subprocess.run(
        [sys.executable, str(script), str(folder), *arguments],
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return captured(folder)


def captured(folder: Path) -> npt.NDArray[np.float32]:
    """What the device was sent, shape (frames, 2)."""
    paths = sorted(folder.glob(f"{RAW_NAME}*"), key=lambda path: (path.stat().st_ctime_ns, path.name))
    parts = [np.fromfile(path, np.float32) for path in paths]
    return np.concatenate([part[: len(part) // 2 * 2].reshape(-1, 2) for part in parts])
