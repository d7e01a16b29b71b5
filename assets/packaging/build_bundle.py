"""Builds the bundle of this machine's system: one folder that runs without Python or anything else installed.

    python assets/packaging/build_bundle.py [--out FOLDER] [--skip-install]

Run it in a fresh virtual environment (Python 3.11 or newer). It builds the wheel, installs that wheel and
PyInstaller into the environment, draws the icons, runs PyInstaller and prints the size. The licence gate
looks at every file, puts the licences' texts into the bundle and stops what can't be passed on. Then:

    python tests/packaging/bundle_smoke.py FOLDER/lagline

Linux: has been run (Debian 12). The libraries of README's line must be installed, and what
build_portaudio.sh needs, or LAGLINE_PORTAUDIO names a folder with what it made. Build on the oldest system
that is to be served: a bundle needs at least the C library it was built with.
Windows, macOS: written without the machines and NOT RUN. Windows gives FOLDER/lagline with lagline.exe
(console) and lagline-desk.exe (none); windows.iss makes an installer of it. macOS gives FOLDER/Lagline.app;
it is not signed, so it opens with a right click > Open only (macos.md).
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]


def run(*command: object, folder: Path | None = None, **more: str) -> None:
    print("$", *command, flush=True)
    subprocess.run([str(part) for part in command], check=True, cwd=folder, env=os.environ | more)


def size_bytes(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file() and not path.is_symlink())


def main() -> None:
    parser = argparse.ArgumentParser(description="Build the Lagline bundle for this machine's system.")
    parser.add_argument("--out", type=Path, default=ROOT / "dist" / "bundle")
    parser.add_argument(
        "--skip-install", action="store_true", help="Lagline and PyInstaller are there already."
    )
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        if not given.skip_install:
            if sys.prefix == sys.base_prefix:
                raise SystemExit("build_bundle.py: run it in a virtual environment of its own")
            wheels = Path(scratch) / "wheel"
            run(sys.executable, "-m", "pip", "install", "build", "pyinstaller>=6.11")
            run(sys.executable, "-m", "build", "--wheel", "--outdir", wheels, ROOT)
            run(sys.executable, "-m", "pip", "install", *wheels.glob("*.whl"))
        icons = Path(scratch) / "icons"
        icons.mkdir()
        run(sys.executable, ROOT / "assets" / "icon" / "make_icons.py", icons, QT_QPA_PLATFORM="offscreen")
        portaudio = Path(os.environ.get("LAGLINE_PORTAUDIO", Path(scratch) / "portaudio"))
        if sys.platform.startswith("linux") and not portaudio.is_dir():
            run("sh", HERE / "build_portaudio.sh", portaudio)
        work = Path(scratch) / "work"
        run(
            sys.executable, "-m", "PyInstaller", "--noconfirm", "--distpath", given.out, "--workpath", work,
            HERE / "lagline.spec", LAGLINE_ICONS=str(icons), LAGLINE_PORTAUDIO=str(portaudio),
        )  # fmt: skip
    for folder in (given.out / "lagline", given.out / "Lagline.app"):
        if folder.exists():
            run(sys.executable, "-m", "assets.packaging.licences", "--bundle", folder, folder=ROOT)
    for folder in sorted(given.out.iterdir()):
        print(f"{folder}: {size_bytes(folder) / 1e6:.0f} MB")


if __name__ == "__main__":
    main()
