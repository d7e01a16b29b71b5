"""Builds the documentation site: the guide, the developers' pages, and every public docstring.

    python assets/docs/build.py --out FOLDER        (needs the `docs` extra)

Gathers the pages in a scratch folder, has Sphinx write a page for each package, and takes every warning for
an error: a link to a page, a picture or a heading that isn't there stops it.
Links to the web are left alone.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

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
    count = len(list(out.rglob("*.html")))
    print(f"{count} pages in {out}")


if __name__ == "__main__":
    main()
