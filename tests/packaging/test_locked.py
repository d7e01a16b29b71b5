"""The locked versions cover every library that is asked for, each within its bounds and with its hash."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
PIN = re.compile(r"^([A-Za-z0-9._-]+)==([^ ;\\]+)", re.MULTILINE)


def test_every_library_is_locked_within_its_bounds() -> None:
    locked: dict[str, list[str]] = {}
    for name, version in PIN.findall((ROOT / "assets/packaging/locked.txt").read_text("utf-8")):
        locked.setdefault(canonicalize_name(name), []).append(version)
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"].values()
    asked = [*project["dependencies"], *(line for extra in extras for line in extra)]
    for line in asked:
        wanted = Requirement(line)
        if wanted.name == project["name"]:
            continue
        versions = locked.get(canonicalize_name(wanted.name), [])
        assert versions, f"{wanted.name} is not locked: lock again (DEVELOPERS.md)"
        assert all(map(wanted.specifier.contains, versions)), f"{line}, but locked are {versions}"


def test_every_locked_version_has_a_hash() -> None:
    blocks = re.split(r"\n(?=\S)", (ROOT / "assets/packaging/locked.txt").read_text("utf-8"))
    assert [block.split()[0] for block in blocks if PIN.match(block) and "--hash=sha256:" not in block] == []
