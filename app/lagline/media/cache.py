"""The folder for what can be made again: overviews and rate-converted copies."""

from __future__ import annotations

import contextlib
import hashlib
import os
import time
from pathlib import Path

import platformdirs

FOLDER_VARIABLE = "LAGLINE_CACHE_DIR"
OVERVIEW_SUFFIX, CONVERTED_SUFFIX = ".overview", ".rf64"
SUFFIXES = (OVERVIEW_SUFFIX, CONVERTED_SUFFIX)
_FORGOTTEN_S = 86_400
LIMIT_BYTES = 10_000_000_000  # about 14 hours of one lane converted to 48 kHz


def cache_folder() -> Path:
    """Where cached files go; LAGLINE_CACHE_DIR overrides the user's cache folder. May not exist yet."""
    chosen = os.environ.get(FOLDER_VARIABLE)
    return Path(chosen) if chosen else Path(platformdirs.user_cache_dir("lagline", appauthor=False))


def cached_path(source: Path, size_bytes: int, changed_ns: int, suffix: str) -> Path:
    """The cache file for one state of a source: another size or time of change gives another name."""
    key = f"{source.absolute()}\0{size_bytes}\0{changed_ns}".encode("utf-8", "surrogateescape")
    return cache_folder() / f"{hashlib.sha256(key).hexdigest()[:32]}{suffix}"


def mark_used(path: Path) -> None:
    """Note that a cached file was of use, so that `trim` takes others first."""
    with contextlib.suppress(OSError):  # a cache that may only be read is still a cache
        os.utime(path)


def trim(keep: Path, limit_bytes: int = LIMIT_BYTES) -> None:
    """Delete the cached files used longest ago until the folder holds no more than `limit_bytes`.

    `keep` stays whatever its size. A file that cannot be deleted (open elsewhere, on some systems) is
    passed over; the next call tries again.
    """
    found = []
    try:
        files = list(keep.parent.iterdir())
    except OSError:  # not to be listed just now: the next call tries again
        return
    for path in files:
        with contextlib.suppress(OSError):  # gone meanwhile: another process trims too
            status = path.stat()
            if path.suffix == ".part" and status.st_mtime < time.time() - _FORGOTTEN_S:
                path.unlink()  # of a process that was killed
            elif path != keep and path.suffix in SUFFIXES:
                found.append((status.st_mtime_ns, status.st_size, path))
    total = sum(size for _, size, _ in found)
    for _, size, path in sorted(found):
        if total <= limit_bytes:
            return
        with contextlib.suppress(OSError):
            path.unlink()
            total -= size
