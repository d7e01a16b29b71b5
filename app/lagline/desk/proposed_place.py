"""Where the desk proposes to save: beside the recordings, and a session never over another one."""

from __future__ import annotations

import os
from pathlib import Path

from PySide6.QtCore import QStandardPaths

from lagline.files import is_folder, is_there
from lagline.jobs.demo import is_demo
from lagline.session.storage import SUFFIX
from lagline.session.values import Session


def proposed_place(session: Session, saved_as: Path | None) -> Path:
    """A file to save to, named like the take, in `proposed_folder`. A name that is taken by another session
    gets a number."""
    place = proposed_folder(session, saved_as) / f"{session.name}{SUFFIX}"
    return place if place == saved_as else free_place(place)


def free_place(place: Path) -> Path:
    """This file, or when there is one already the same with a number that is not taken."""
    free, number = place, 1
    while is_there(free):
        number += 1
        free = place.with_name(f"{place.stem} {number}{SUFFIX}")
    return free


def proposed_folder(session: Session, saved_as: Path | None) -> Path:
    """Where what belongs to the session goes.

    The folder it was saved to before, else that of its recordings; the documents where the recordings belong
    to the program or nothing can be written beside them.
    """
    if saved_as is not None:
        return saved_as.parent
    folder = session.lanes[0].source.path.parent if session.lanes else documents()
    if is_demo(folder) or (is_folder(folder) and not os.access(folder, os.W_OK)):
        return documents()
    return folder


def documents() -> Path:
    """The person's documents; the home folder where there are none."""
    found = QStandardPaths.writableLocation(QStandardPaths.StandardLocation.DocumentsLocation)
    return Path(found) if found and is_folder(Path(found)) else Path.home()
