"""Builds the documentation site: the guide, the developers' pages, and every public docstring.

    python assets/docs/build.py --out FOLDER        (needs the `docs` extra)

Gathers the pages in a scratch folder, has Sphinx write a page for each package, and takes every warning for
an error. Then every link and picture of the finished pages is followed, to the heading it names: one that
leads nowhere stops it. Links to the web are left alone.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
QUIET = {"QT_QPA_PLATFORM": "offscreen", "PYTHONPATH": str(ROOT / "app")}

INDEX = """# Lagline

Several recordings of one performance, lined up: measure, see, hear, deliver.

```{toctree}
:caption: Guide
:maxdepth: 1

GUIDE
```

```{toctree}
:caption: Behind it
:maxdepth: 1

developers
style
names
changelog
api/modules
```
"""


def run(*words: object, folder: Path = ROOT) -> str:
    done = subprocess.run(
        [str(word) for word in words], cwd=folder, env=os.environ | QUIET, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    if done.returncode:
        raise SystemExit(f"build.py: {' '.join(map(str, words))}\n{done.stdout[-4000:]}{done.stderr[-8000:]}")
    return done.stdout


def gather(folder: Path) -> None:
    """The pages as they stand in the checkout, under one roof."""
    shutil.copytree(ROOT / "assets" / "guide", folder / "guide", ignore=shutil.ignore_patterns("*.py"))
    shutil.copytree(ROOT / "assets" / "licences", folder / "licences")
    pages = sorted(page.stem for page in (folder / "guide").glob("*.md") if page.stem != "README")
    listed = "\n".join(f"guide/{name}" for name in ("README", *pages)) + "\nlicences/README"
    (folder / "index.md").write_text(INDEX.replace("GUIDE", listed), "utf-8")
    shutil.copyfile(ROOT / "DEVELOPERS.md", folder / "developers.md")
    shutil.copyfile(ROOT / "CHANGELOG.md", folder / "changelog.md")
    shutil.copyfile(HERE / "style.md", folder / "style.md")
    (folder / "names.md").write_text(run(sys.executable, "-m", "assets.register", "--page"), "utf-8")


class Page(HTMLParser):
    """What a page of HTML links to, and the places in it that links may name."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.places: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if value and name in ("href", "src"):
                self.links.append(value)
            elif value and name in ("id", "name"):
                self.places.add(value)


def broken_links(site: Path) -> list[str]:
    """Links within a site that lead nowhere, each with its page."""
    pages = {path.resolve(): Page(path.read_text("utf-8")) for path in sorted(site.rglob("*.html"))}
    broken = []
    for path, page in pages.items():
        for link in page.links:
            parts = urlsplit(link)
            if parts.scheme or parts.netloc:
                continue
            to = (path.parent / unquote(parts.path)).resolve() if parts.path else path
            place = unquote(parts.fragment)
            if not to.is_file() or (place and to in pages and place not in pages[to].places):
                broken.append(f"{path.relative_to(site.resolve())}: {link}")
    return broken


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    out = parser.parse_args().out.resolve()
    with tempfile.TemporaryDirectory() as scratch:
        pages = Path(scratch)
        gather(pages)
        package = ROOT / "app" / "lagline"
        tool = [sys.executable, "-m"]
        run(*tool, "sphinx.ext.apidoc", "--module-first", "-o", pages / "api", package)
        run(*tool, "sphinx", "-W", "--keep-going", "-q", "-b", "html", "-c", HERE, pages, out)
    broken = broken_links(out)
    if broken:
        raise SystemExit("build.py: these links lead nowhere\n" + "\n".join(broken))
    count = len(list(out.rglob("*.html")))
    print(f"{count} pages in {out}, every link in them followed")


if __name__ == "__main__":
    main()
