"""What is in a bundle, and whose each file is."""

from __future__ import annotations

import csv
import subprocess
import sys
from collections.abc import Iterable, Iterator
from functools import cache
from importlib.metadata import distributions, packages_distributions
from pathlib import Path

from assets.packaging.licences.terms import Component, Terms
from msgspec import Struct

LIBRARY_FOLDERS = ("_internal", "Contents/Frameworks", "Contents/Resources")
SYSTEM_FOLDERS = ("/usr/lib", "/lib", "/usr/lib64", "/usr/local/lib")


class Owned(Struct, frozen=True):
    """A file or a module of the bundle. `package` is the Debian package of a library of the system."""

    place: str
    component: Component | None
    package: str = ""


def files(folder: Path) -> Iterator[tuple[str, Path]]:
    """Every file, links left out, with its place below the library folder ("/..." for those beside it)."""
    for path in sorted(folder.rglob("*")):
        if path.is_file() and not path.is_symlink():
            place = path.relative_to(folder).as_posix()
            inside = next(
                (place.removeprefix(f"{one}/") for one in LIBRARY_FOLDERS if place.startswith(one)), ""
            )
            yield inside or f"/{place}", path


def owned_files(folder: Path, terms: Terms) -> list[Owned]:
    of_distribution = _files_of_distributions()
    found = []
    for place, _path in files(folder):
        component = next((one for one in terms.component if one.has_file(place)), None)
        package = ""
        if component is None and place in of_distribution:
            component = terms.of_distribution(of_distribution[place])
        if component is None and (package := _package_of(Path(place).name)):
            component = next((one for one in terms.component if one.has_package(package)), None)
        found.append(Owned(place, component, package))
    return found


def owned_modules(program: Path, terms: Terms) -> list[Owned]:
    """The Python modules packed into the program itself, by their first name."""
    from PyInstaller.archive.readers import CArchiveReader

    archive = CArchiveReader(str(program))
    names = set(archive.toc) - {"PYZ.pyz"}
    names |= set(archive.open_embedded_archive("PYZ.pyz").toc)
    return [
        Owned(f"module {top}", _of_module(top, terms)) for top in sorted({n.split(".")[0] for n in names})
    ]


def _of_module(top: str, terms: Terms) -> Component | None:
    by_name = {one.name: one for one in terms.component}
    if top in ("launch", "find_portaudio"):
        return by_name["Lagline"]
    if top.startswith(("pyi_rth_", "_pyi_rth_", "pyimod", "pyiboot")):
        return by_name["PyInstaller"]
    if top in sys.stdlib_module_names or top.startswith("_sysconfigdata"):
        return by_name["Python"]
    owners = packages_distributions().get(top, ())
    return next((one for owner in owners if (one := terms.of_distribution(owner)) is not None), None)


@cache
def _files_of_distributions() -> dict[str, str]:
    found = {}
    for installed in distributions():
        for place, *_ in csv.reader((installed.read_text("RECORD") or "").splitlines()):
            found[place] = installed.metadata["Name"]
    return found


@cache
def _package_of(library: str) -> str:
    """The Debian package a library of the system is of, or nothing."""
    folders = [
        place for folder in SYSTEM_FOLDERS for place in (Path(folder), *Path(folder).glob("*-linux-gnu"))
    ]
    for path in (folder / library for folder in folders):
        if not path.exists():
            continue
        for name in _names_of(path):
            done = subprocess.run(["dpkg", "-S", name], capture_output=True, text=True, check=False)
            if done.returncode == 0:
                return done.stdout.partition(":")[0]
    return ""


def _names_of(path: Path) -> Iterable[str]:
    """A file as packages may list it: /lib is a link to /usr/lib on newer systems."""
    real = str(path.resolve())
    return dict.fromkeys((str(path), real, str(path).removeprefix("/usr"), real.removeprefix("/usr")))
