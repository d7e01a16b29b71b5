"""Can Lagline be installed on systems that are not here? Resolves wheels for each, and downloads nothing.

    python assets/packaging/resolve_elsewhere.py [--extra test]       (needs uv: the `dev` extra)

Asks the package index for a wheel of every library, for each system and Python version below. A library that
would have to be built from its source there counts as missing. Ends with 1 when one is.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SYSTEMS = {
    "Windows": "x86_64-pc-windows-msvc",
    "macOS, Apple silicon": "aarch64-apple-darwin",
    "macOS, Intel": "x86_64-apple-darwin",
    "Linux, Intel": "x86_64-manylinux_2_28",
    "Linux, ARM": "aarch64-manylinux_2_39",
}
PYTHONS = ("3.11", "3.12", "3.13")
PURE = ("wcag-contrast-ratio",)  # Python only, published as source: builds anywhere


def resolved(system: str, python: str, extras: list[str]) -> subprocess.CompletedProcess[str]:
    words = ["uv", "pip", "compile", "pyproject.toml", "--no-annotate", "--only-binary", ":all:"]
    words += [word for name in PURE for word in ("--no-binary", name)]
    words += ["--python-platform", system, "--python-version", python]
    words += [word for extra in extras for word in ("--extra", extra)]
    return subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--extra", action="append", default=[])
    asked = parser.parse_args()
    if shutil.which("uv") is None:
        raise SystemExit("resolve_elsewhere.py: uv is not here; install the `dev` extra")
    failed = 0
    for name, system in SYSTEMS.items():
        for python in PYTHONS:
            done = resolved(system, python, asked.extra)
            count = sum(line[:1].isalnum() for line in done.stdout.splitlines())
            failed += done.returncode != 0
            said = f"{count} wheels" if done.returncode == 0 else f"FAILS\n{done.stderr.strip()[:600]}"
            print(f"{name:22} Python {python}  {said}", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main())
