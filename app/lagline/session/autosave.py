"""The state of unsaved work, kept beside the session file and offered after a crash.

A desk that ends in order discards its autosave, so one that is found is what a crash left. Work that was
never saved has no file to lie beside, and some sessions lie where nobody may write: those are kept in the
user's state folder, one file a process.
"""

from __future__ import annotations

import os
import secrets
import sys
from collections.abc import Iterator
from pathlib import Path

import platformdirs

from lagline.errors import CannotWrite
from lagline.files import is_file, is_folder
from lagline.session.storage import SUFFIX, load, save_without_backup
from lagline.session.values import Session

ENDING = ".autosave"
# A process number alone comes back: in a container every start may have the same one.
_THIS_PROCESS = f"unsaved-{os.getpid()}-{secrets.token_hex(4)}{ENDING}"


def state_folder() -> Path:
    """Where autosaves of never-saved work lie; LAGLINE_STATE_DIR overrides the system's place."""
    named = os.environ.get("LAGLINE_STATE_DIR")
    return Path(named) if named else Path(platformdirs.user_state_dir("lagline", appauthor=False))


def autosave_path(session_path: Path | None) -> Path:
    """Where this process keeps its autosave for a session file, or for work without one."""
    if session_path is None:
        return state_folder() / _THIS_PROCESS
    return session_path.with_name(f".{session_path.name}{ENDING}")


def write_autosave(session: Session, session_path: Path | None) -> Path:
    """Keep the session as it is now; where it lies. Raises CannotWrite.

    Beside the session file, or in the state folder when there is none or its folder can't be written.
    """
    if session_path is not None:
        try:
            save_without_backup(session, autosave_path(session_path), indented=False)
        except CannotWrite:
            pass  # a demo, a disc, a full drive: the state folder is the second best place
        else:
            return autosave_path(session_path)
    path = autosave_path(None)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotWrite(path, error) from error
    save_without_backup(session, path, indented=False)
    return path


def set_aside(autosave: Path) -> Path:
    """Give an autosave that nobody wants now the name of a session of its own; its new place.

    Raises OSError; then it is where it was.
    """
    stem = autosave.name.removesuffix(ENDING).removesuffix(SUFFIX).lstrip(".")
    number = 1
    while (target := autosave.with_name(f"{stem} (set aside {number}){SUFFIX}")).exists():
        number += 1
    return autosave.rename(target)


def left_behind(session_path: Path) -> Session | None:
    """What a crash left of this session, when it is newer than the file; None without.

    Raises SessionUnreadable when the autosave itself is damaged.
    """
    path = autosave_path(session_path)
    if not is_file(path):
        return None
    if is_file(session_path) and path.stat().st_mtime_ns < session_path.stat().st_mtime_ns:
        return None
    return load(path)


def unsaved_left_behind() -> Iterator[Path]:
    """Autosaves of never-saved work whose process has gone, newest first; `load` reads them."""
    folder = state_folder()
    if not is_folder(folder):
        return
    files = sorted(folder.glob(f"unsaved-*{ENDING}"), key=lambda file: file.stat().st_mtime_ns, reverse=True)
    for file in files:
        number = file.name.removeprefix("unsaved-").removesuffix(ENDING).split("-")[0]
        if file.name != _THIS_PROCESS and number.isdecimal() and not _is_running(int(number)):
            yield file


def _is_running(process: int) -> bool:
    if process == os.getpid():
        return False  # an earlier process had our number
    if sys.platform == "win32":
        return False  # signal 0 would end it there; the worst is to offer what another window still edits
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True
