"""Which shared libraries of a bundle anything in it still asks for. Used by lagline.spec on Linux."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterable
from pathlib import Path, PurePosixPath

Entry = tuple[str, str, str]  # PyInstaller's: place in the bundle, file it is copied from, kind


def needed_by(library: Path) -> frozenset[str]:
    """File names that an ELF file asks the loader for (DT_NEEDED), by binutils, as PyInstaller does."""
    said = subprocess.run(["objdump", "-p", str(library)], capture_output=True, text=True, check=True).stdout
    return frozenset(re.findall(r"^\s*NEEDED\s+(\S+)", said, re.MULTILINE))


def is_plain_library(place: str) -> bool:
    """Whether a file is there only because others link it: no plugin, no extension module."""
    path = PurePosixPath(place)
    in_folder_of_libraries = str(path.parent) in (".", "PySide6/Qt/lib")
    return in_folder_of_libraries and path.name.startswith("lib") and ".so" in path.name


def unasked_for(binaries: Iterable[Entry], kept: tuple[str, ...]) -> frozenset[str]:
    """File names of plain libraries that nothing reaches any more.

    binaries : what is to be in the bundle, the unwanted left out already.
    kept : how the names of libraries begin that are opened by name at run time.
    """
    sources = {PurePosixPath(place).name: Path(source) for place, source, _ in binaries}
    plain = {PurePosixPath(place).name for place, _, _ in binaries if is_plain_library(place)}
    reached: set[str] = set()
    ahead = [name for name in sources if name not in plain or name.startswith(kept)]
    while ahead:
        name = ahead.pop()
        if name not in reached and name in sources:
            reached.add(name)
            ahead += needed_by(sources[name])
    return frozenset(plain - reached)
