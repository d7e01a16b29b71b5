"""Work on the same recordings that was saved beside them before."""

from __future__ import annotations

import logging
from pathlib import Path

from lagline.errors import LaglineError
from lagline.session.storage import SUFFIX, load
from lagline.session.values import Session

_log = logging.getLogger(__name__)


def session_beside(take: Session) -> Path | None:
    """The session file in a folder of the take's recordings that is of the same recordings; the newest.

    Of the same: all recordings of one are among those of the other, so that a recording added or left out
    since does not hide the work. A file that can't be read is no answer, and is left as it is.
    """
    wanted = _recordings(take)
    files = {file for folder in {path.parent for path in wanted} for file in _sessions_in(folder)}
    for file in sorted(files, key=_age):
        try:
            known = _recordings(load(file))
        except LaglineError as error:
            _log.info("%s is passed over: %s", file, error)
            continue
        if known <= wanted or wanted <= known:
            return file
    return None


def _recordings(session: Session) -> frozenset[Path]:
    return frozenset(lane.source.path.resolve() for lane in session.lanes)


def _sessions_in(folder: Path) -> list[Path]:
    try:
        return [path for path in folder.iterdir() if path.suffix == SUFFIX and path.is_file()]
    except OSError as error:
        _log.info("%s is not looked into: %s", folder, error)
        return []


def _age(file: Path) -> tuple[float, str]:
    """Sorts the newest first; a file that is gone by now comes last."""
    try:
        return -file.stat().st_mtime, str(file)
    except OSError:
        return 0.0, str(file)
