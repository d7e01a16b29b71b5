"""Runs before the bundled program: sounddevice finds the PortAudio that lies in the bundle.

On Linux sounddevice asks `ctypes.util.find_library`, which knows the system's libraries only. (On Windows
and macOS it brings its own PortAudio along and this file is left out.)
"""

import ctypes.util
import sys
from pathlib import Path

_of_system = ctypes.util.find_library


def _bundled_first(name: str) -> str | None:
    if name == "portaudio":
        for path in sorted(Path(sys._MEIPASS).glob("libportaudio.so*")):
            return str(path)
    return _of_system(name)


ctypes.util.find_library = _bundled_first
