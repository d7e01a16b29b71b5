"""The page "Licences" and the texts behind it, as a user gets them."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from assets.packaging.licences.bundle import Owned
from assets.packaging.licences.installed import licence_files
from assets.packaging.licences.terms import TEXTS, Component, is_text

PAGE = Path(__file__).resolve().parents[2] / "licences" / "README.md"
DEBIAN_TEXTS = Path("/usr/share/doc")

HEAD = Path(__file__).with_name("head.md").read_text("utf-8")
PARTS = "## What Lagline is made of\n\nTexts in [texts](texts/Lagline.txt), one or more a row.\n"
SYSTEM = "## Libraries of the system in this bundle\n\nEach text is the package's own.\n"


def page(components: Iterable[Component]) -> str:
    """The page that goes with the wheel: what doesn't change with the machine a bundle is built on."""
    rows = [_row(one) for one in components if not one.packages]
    return "\n".join([HEAD, PARTS, "| part | for | licence | texts |", "|---|---|---|---|", *rows, ""])


def _row(one: Component, texts: Iterable[str] = ()) -> str:
    own = [own_name(one)] if has_own_text(one) else []
    links = ", ".join(f"[{name.removesuffix('.txt')}](texts/{name})" for name in (*own, *texts, *one.texts))
    return f"| {one.name} | {one.what} | {one.licence} | {links} |"


def has_own_text(one: Component) -> bool:
    """Whether its text is what its distribution brings along; else `texts` names it."""
    return bool(one.distribution) and not one.texts


def own_name(one: Component) -> str:
    return "Lagline.txt" if one.distribution == "lagline" else f"{one.distribution.lower()}.txt"


def own_text(one: Component) -> str:
    """What a component's distribution brings along, all of it; empty where it brings nothing."""
    try:
        found = licence_files(distribution(one.distribution))
    except PackageNotFoundError:
        return ""
    return "\n\n".join(path.read_text("utf-8", errors="replace").strip() for path in sorted(found))


def write_texts_of_distributions(components: Iterable[Component], folder: Path) -> list[str]:
    """Writes the texts of what is installed. Returns what lacks one, in sentences."""
    said = []
    for one in components:
        if not has_own_text(one):
            continue
        if text := own_text(one):
            (folder / own_name(one)).write_text(text + "\n", "utf-8")
        elif not is_text(folder / own_name(one)):
            said.append(f"{one.name}: no licence text in its distribution, and none in {TEXTS}")
    return said


def write_into(bundle: Path, owned: Iterable[Owned]) -> list[str]:
    """Puts page, texts and the list of files into a bundle. Returns what lacks a text, in sentences."""
    folder = next(bundle.glob("**/lagline/licences"))
    texts = folder / "texts"
    said: list[str] = []
    used = {item.component.name: item.component for item in owned if item.component is not None}
    packages: dict[str, set[str]] = {}
    for item in owned:
        if item.component is not None and item.package:
            packages.setdefault(item.component.name, set()).add(item.package)
    said += write_texts_of_distributions(used.values(), texts)
    rows = []
    for name, names in sorted(packages.items()):
        for package in sorted(names):
            source = DEBIAN_TEXTS / package / "copyright"
            if is_text(source):
                shutil.copyfile(source, texts / f"debian-{package}.txt")
            else:
                said.append(f"{name}: no text at {source}")
        rows.append(_row(used[name], [f"debian-{package}.txt" for package in sorted(names)]))
    with (folder / "README.md").open("a", encoding="utf-8") as page_file:
        page_file.write(
            "\n".join(["", SYSTEM, "| part | for | licence | texts |", "|---|---|---|---|", *rows, ""])
        )
    lines = [
        f"{item.place}\t{item.component.name}\t{item.component.licence}" for item in owned if item.component
    ]
    (folder / "files.tsv").write_text("file\tpart\tlicence\n" + "\n".join(lines) + "\n", "utf-8")
    return said
