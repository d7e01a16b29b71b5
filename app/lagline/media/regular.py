"""Opening a recording's file, and never anything that only looks like one."""

from __future__ import annotations

import os
import stat
from io import BufferedReader
from pathlib import Path

from lagline.errors import NotAFile
from lagline.files import is_file, is_there


def open_regular(path: Path) -> BufferedReader:
    """The file, open for reading. A named pipe would be waited for, a device be read for ever: they are
    refused.

    Raises NotAFile, OSError.
    """
    try:
        file = open(path, "rb", opener=_without_waiting)  # noqa: SIM115 - handed on
    except OSError as error:  # of a folder or a socket, each system says something else
        if is_there(path) and not is_file(path):
            raise NotAFile(path) from error
        raise
    if stat.S_ISREG(os.fstat(file.fileno()).st_mode):
        return file
    file.close()
    raise NotAFile(path)


def _without_waiting(path: str, flags: int) -> int:
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))
