"""The libraries that a `pip install` of Lagline brings, and what they say of their own licence."""

from __future__ import annotations

from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement

LICENCE_WORDS = ("licen", "copying", "notice")


def needed(name: str = "lagline") -> dict[str, Distribution]:
    """Every distribution that `name` needs on this machine, its own needs and theirs; by name."""
    found: dict[str, Distribution] = {}
    ahead = [name]
    while ahead:
        current = ahead.pop().casefold()
        if current in found:
            continue
        try:
            found[current] = distribution(current)
        except (
            PackageNotFoundError
        ):  # not installed, so not passed on; a missing need is another tool's to say
            continue
        for line in found[current].requires or ():
            need = Requirement(line)
            if need.marker is None or need.marker.evaluate({"extra": ""}):
                ahead.append(need.name)
    return found


def licence_files(installed: Distribution) -> list[Path]:
    """The texts a distribution brings along."""
    return [
        path
        for part in installed.files or ()
        if ".dist-info" in part.parts[0]
        and any(word in part.name.casefold() for word in LICENCE_WORDS)
        and (path := Path(str(installed.locate_file(part)))).is_file()
    ]


def declared(installed: Distribution) -> str:
    """The SPDX expression of the metadata, or nothing where an older form is used."""
    return str(installed.metadata.get("License-Expression") or "")
