"""Where what belongs to a session lies: hidden beside its file, or in the user's state folder.

The state folder is the second best place: for sessions that have no file yet, and for folders that can't be
written.
"""

from __future__ import annotations

import os
import tempfile
import time
from hashlib import blake2b
from pathlib import Path

import platformdirs


def state_folder() -> Path:
    """LAGLINE_STATE_DIR overrides the system's place. May not exist yet."""
    named = os.environ.get("LAGLINE_STATE_DIR")
    return Path(named) if named else Path(platformdirs.user_state_dir("lagline", appauthor=False))


def beside(session_path: Path, ending: str) -> Path:
    """`.NAME.lagline` + ending, in the session's folder."""
    return session_path.absolute().with_name(f".{session_path.name}{ending}")


def in_state(session_path: Path, ending: str) -> Path:
    """The same in the state folder, named after the session's whole path."""
    whole = Path(os.path.realpath(session_path.parent)) / session_path.name
    return state_folder() / f"{blake2b(bytes(whole), digest_size=12).hexdigest()}{ending}"


def both(session_path: Path, ending: str) -> tuple[Path, Path]:
    """The two places, the better one first."""
    return beside(session_path, ending), in_state(session_path, ending)


def private_folder(path: Path) -> Path:
    """The folder, made so that only its owner may look into it. Raises OSError."""
    path.mkdir(mode=0o700, parents=True, exist_ok=True)
    return path


def now_there(folder: Path) -> float:
    """The time as the folder's file system tells it, seconds since 1970: a file server has its own clock."""
    try:
        with tempfile.TemporaryFile(dir=folder) as file:
            return os.fstat(file.fileno()).st_mtime
    except OSError:  # nothing can be written there
        return time.time()
