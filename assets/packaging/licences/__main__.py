"""The licence gate. Ends with 1 and a sentence a problem when something can't be passed on or lacks its text.

    python -m assets.packaging.licences                    the libraries installed here (quick; in CI)
    python -m assets.packaging.licences --write            the same, and writes assets/licences anew
    python -m assets.packaging.licences --bundle FOLDER    every file of a bundle, whose it is and its terms;
                                                           puts page, texts and the list into the bundle

Run from the top of the checkout. The last in the environment that built the bundle, on the machine that did.
"""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path

from assets.packaging.licences import bundle, installed, notices
from assets.packaging.licences.terms import TEXTS, Terms, is_text, read_terms


def quick_problems(terms: Terms, needed: dict[str, object] | None = None) -> list[str]:
    """Whether every library that an installation brings is known, allowed, unchanged, and has its text."""
    said = terms.problems(terms.component)
    for name, found in (installed.needed() if needed is None else needed).items():
        component = terms.of_distribution(name)
        if component is None:
            said.append(f"{name}: not in terms.toml. Read its licence and add it there.")
            continue
        says = installed.declared(found)
        if component.declared and says and says != component.declared:
            said.append(f"{name}: now says {says!r}, it was {component.declared!r}. Read its licence again.")
    said += [
        f"{one.name}: {TEXTS / notices.own_name(one)} is missing: run with --write"
        for one in terms.component
        if notices.has_own_text(one) and not is_text(TEXTS / notices.own_name(one))
    ]
    if notices.PAGE.read_text("utf-8") != notices.page(terms.component):
        said.append(f"{notices.PAGE}: not what terms.toml says. Run with --write.")
    return said


def bundle_problems(folder: Path, terms: Terms) -> list[str]:
    """The same for every file of a bundle, and for every module in its program."""
    owned = bundle.owned_files(folder, terms)
    for program in (folder / "lagline", folder / "lagline.exe", folder / "Contents" / "MacOS" / "Lagline"):
        if program.is_file():
            owned += bundle.owned_modules(program, terms)
    said = [
        f"{item.place}: of unknown origin" + f" (Debian package {item.package})" * bool(item.package)
        for item in owned
        if item.component is None
    ]
    used = {item.component.name: item.component for item in owned if item.component is not None}
    said += terms.problems(used.values())
    said += notices.write_into(folder, owned)
    counts = Counter(item.component.name for item in owned if item.component is not None)
    for name, component in sorted(used.items()):
        print(f"{counts[name]:6}  {name:52} {component.licence}")
    print(f"{len(owned):6}  files and modules, {len(used)} parts; listed in files.tsv beside the page")
    return said


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--bundle", type=Path, metavar="FOLDER")
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    terms = read_terms()
    if asked.write:
        notices.write_texts_of_distributions(terms.component, TEXTS)
        notices.PAGE.write_text(notices.page(terms.component), "utf-8")
    said = bundle_problems(asked.bundle, terms) if asked.bundle else quick_problems(terms)
    for sentence in said:
        print(f"licences: {sentence}")
    print(f"licences: {len(said)} problems" if said else "licences: nothing stands in the way")
    return 1 if said else 0


if __name__ == "__main__":
    raise SystemExit(main())
