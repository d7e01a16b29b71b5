"""The folder for what can be made again: overviews and rate-converted copies."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import platformdirs

FOLDER_VARIABLE = "LAGLINE_CACHE_DIR"


def cache_folder() -> Path:
    """Where cached files go; LAGLINE_CACHE_DIR overrides the user's cache folder. May not exist yet."""
    chosen = os.environ.get(FOLDER_VARIABLE)
    return Path(chosen) if chosen else Path(platformdirs.user_cache_dir("lagline", appauthor=False))


def cached_path(source: Path, size_bytes: int, modified_ns: int, suffix: str) -> Path:
    """The cache file for one state of a source: another size or modification time gives another name."""
    key = f"{source.absolute()}\0{size_bytes}\0{modified_ns}".encode("utf-8", "surrogateescape")
    return cache_folder() / f"{hashlib.sha256(key).hexdigest()[:32]}{suffix}"
