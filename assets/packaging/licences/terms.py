"""What a person read and decided: the components of terms.toml."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from fnmatch import fnmatchcase
from pathlib import Path

from msgspec import Struct, convert

TERMS = Path(__file__).with_name("terms.toml")
TEXTS = Path(__file__).resolve().parents[2] / "licences" / "texts"


class Component(Struct, frozen=True, forbid_unknown_fields=True):
    """One thing with one text: see the head of terms.toml."""

    name: str
    what: str
    licence: str
    distribution: str = ""
    declared: str = ""
    files: tuple[str, ...] = ()
    packages: tuple[str, ...] = ()
    texts: tuple[str, ...] = ()

    def has_file(self, place: str) -> bool:
        """Whether a file of the bundle is named as this one's. `place` is below the bundle's library folder,
        or begins with "/" for files beside that folder."""
        return any(fnmatchcase(place, pattern) for pattern in self.files)

    def has_package(self, package: str) -> bool:
        return any(fnmatchcase(package, pattern) for pattern in self.packages)


class Terms(Struct, frozen=True):
    allowed: tuple[str, ...]
    component: tuple[Component, ...]

    def of_distribution(self, name: str) -> Component | None:
        return next((one for one in self.component if same(one.distribution, name)), None)

    def problems(self, components: Iterable[Component]) -> list[str]:
        """What stands in the way of passing these on: terms not allowed, texts that are not there."""
        said = []
        for one in components:
            said += [
                f"{one.name}: {part} is not among the terms that Lagline can be passed on with"
                for part in parts(one.licence)
                if part not in self.allowed
            ]
            said += [
                f"{one.name}: {text} is not in {TEXTS}" for text in one.texts if not is_text(TEXTS / text)
            ]
        return said


def read_terms(path: Path = TERMS) -> Terms:
    """Raises msgspec.ValidationError for a key or a kind of value that does not belong there."""
    return convert(tomllib.loads(path.read_text("utf-8")), Terms)


def parts(licence: str) -> list[str]:
    """The licences of an expression, all of which hold. (terms.toml makes the choices: there is no OR.)"""
    return [part.strip(" ()") for part in licence.split(" AND ")]


def same(one: str, other: str) -> bool:
    """Whether two names are one distribution's (capitals, hyphens and underscores are the same)."""
    return one.casefold().replace("_", "-") == other.casefold().replace("_", "-") != ""


def is_text(path: Path) -> bool:
    return path.is_file() and path.stat().st_size > 200
