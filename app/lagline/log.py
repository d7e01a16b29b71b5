"""What is kept for the day something goes wrong: a log file that never grows large, and details to send.

Nothing is ever sent by Lagline itself; the log holds sentences, names of files and places in the program,
never sound.
"""

from __future__ import annotations

import logging
import os
import platform
import sys
from logging.handlers import RotatingFileHandler
from pathlib import Path

import platformdirs

from lagline import __version__

FOLDER_VARIABLE = "LAGLINE_LOG_DIR"
MOST_BYTES, OLD_FILES = 500_000, 3  # the file in use, and how many before it
LAST_LINES = 40
SUFFIX = ".log"


def log_folder() -> Path:
    """Where the logs are; LAGLINE_LOG_DIR overrides the user's log folder. May not exist yet."""
    chosen = os.environ.get(FOLDER_VARIABLE)
    return Path(chosen) if chosen else Path(platformdirs.user_log_dir("lagline", appauthor=False))


def log_file(name: str) -> Path:
    """The log of one door: "desk" or "command-line". Older ones lie beside it as NAME.log.1, .2, ..."""
    return log_folder() / f"{name}{SUFFIX}"


def keep_log(name: str) -> Path:
    """From now on, write what Lagline logs (warnings and worse) to `log_file(name)`; returns it.

    Raises OSError when no log can be kept there.
    """
    file = log_file(name)
    file.parent.mkdir(parents=True, exist_ok=True)
    handler = RotatingFileHandler(
        file, maxBytes=MOST_BYTES, backupCount=OLD_FILES, encoding="utf-8", errors="backslashreplace"
    )
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(name)s: %(message)s"))
    stop_log()
    logging.getLogger("lagline").addHandler(handler)
    return file


def stop_log() -> None:
    """Close the log file, if one is kept."""
    logger = logging.getLogger("lagline")
    for handler in [found for found in logger.handlers if isinstance(found, RotatingFileHandler)]:
        logger.removeHandler(handler)
        handler.close()


def last_lines(file: Path, count: int = LAST_LINES) -> tuple[str, ...]:
    """The newest lines of a log; empty when it cannot be read."""
    try:
        text = file.read_text("utf-8", errors="replace")
    except OSError:
        return ()
    return tuple(text.splitlines()[-count:])


def details(problem: str, name: str) -> str:
    """What to send with a report: the problem, the versions, the end of the log of this door.

    The user's home folder is written as ~, so that no name is given away unasked.
    """
    lines = [problem, "", *about()]
    kept = last_lines(log_file(name))
    if kept:
        lines += ["", f"The last lines of {log_file(name).name}:", *kept]
    return "\n".join(lines).replace(str(Path.home()), "~") + "\n"


def about() -> tuple[str, ...]:
    """Versions, a line each."""
    how = " (bundle)" if getattr(sys, "frozen", False) else ""
    return (
        f"Lagline {__version__}{how}",
        f"Python {platform.python_version()}",
        f"{platform.platform()} ({platform.machine()})",
    )
