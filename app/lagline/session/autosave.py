"""The state of unsaved work, kept beside the session file and offered after a crash.

A desk that ends in order discards its autosave, so one that is found is what a crash left. Work that was
never saved has no file to lie beside: it is kept in the user's state folder, one file a process.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import platformdirs

from lagline.session.storage import load, save_without_backup
from lagline.session.values import Session

ENDING = ".autosave"


def state_folder() -> Path:
    """Where autosaves of never-saved work lie; LAGLINE_STATE_DIR overrides the system's place."""
    named = os.environ.get("LAGLINE_STATE_DIR")
    return Path(named) if named else Path(platformdirs.user_state_dir("lagline", appauthor=False))


def autosave_path(session_path: Path | None) -> Path:
    """Where this process keeps its autosave for a session file, or for work without one."""
    if session_path is None:
        return state_folder() / f"unsaved-{os.getpid()}{ENDING}"
    return session_path.with_name(f".{session_path.name}{ENDING}")


def write_autosave(session: Session, session_path: Path | None) -> None:
    """Keep the session as it is now. Raises CannotWrite."""
    path = autosave_path(session_path)
    if session_path is None:
        path.parent.mkdir(parents=True, exist_ok=True)
    save_without_backup(session, path)


def discard_autosave(session_path: Path | None) -> None:
    """After a save, or when the engineer lets the changes go."""
    autosave_path(session_path).unlink(missing_ok=True)


def left_behind(session_path: Path) -> Session | None:
    """What a crash left of this session, when it is newer than the file; None without.

    Raises SessionUnreadable when the autosave itself is damaged.
    """
    path = autosave_path(session_path)
    if not path.is_file():
        return None
    if session_path.is_file() and path.stat().st_mtime_ns < session_path.stat().st_mtime_ns:
        return None
    return load(path)


def unsaved_left_behind() -> Iterator[Path]:
    """Autosaves of never-saved work whose process has gone, newest first; `load` reads them."""
    folder = state_folder()
    if not folder.is_dir():
        return
    files = sorted(folder.glob(f"unsaved-*{ENDING}"), key=lambda file: file.stat().st_mtime_ns, reverse=True)
    for file in files:
        number = file.name.removeprefix("unsaved-").removesuffix(ENDING)
        if number.isdecimal() and not _is_running(int(number)):
            yield file


def _is_running(process: int) -> bool:
    if process == os.getpid():
        return True
    if sys.platform == "win32":
        return False  # signal 0 would end it there; the worst is to offer what another window still edits
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
