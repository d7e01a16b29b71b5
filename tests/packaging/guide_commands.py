"""Do the guide's command lines work as written, for someone who followed README?

    python tests/packaging/guide_commands.py [--environment .venv]

Copies what a clone holds of the guide and the demo takes into an empty folder, puts the environment's
programs in front of the path as `. .venv/bin/activate` does, and runs every block of commands of every page
there, page by page. Ends with 1 when a command does not end with 0. Linux and macOS; takes some minutes.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
GUIDE = ROOT / "assets" / "guide"
BLOCK = re.compile(r"```sh\n(.*?)```", re.DOTALL)
LEFT_OUT = ("robustness.md",)  # scripts for developers, some of which take an hour


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--environment", type=Path, default=ROOT / ".venv")
    programs = parser.parse_args().environment.resolve() / "bin"
    if not (programs / "lagline").exists():
        raise SystemExit(f"guide_commands.py: no lagline in {programs}; run README's installing line first")
    failed = 0
    with tempfile.TemporaryDirectory(prefix="lagline-guide-") as name:
        folder = Path(name) / "clone"
        shutil.copytree(ROOT / "demo_sessions", folder / "demo_sessions")
        own = {name: str(folder.parent / name) for name in ("LAGLINE_CACHE_DIR", "LAGLINE_STATE_DIR")}
        path = f"{programs}{os.pathsep}{os.environ['PATH']}"
        for page in sorted(GUIDE.glob("*.md")):
            for block in () if page.name in LEFT_OUT else BLOCK.findall(page.read_text("utf-8")):
                for line in block.splitlines():
                    if line.startswith(". "):  # taking the environment over: done by the path
                        continue
                    began = time.monotonic()
                    done = subprocess.run(
                        ["bash", "-c", line], cwd=folder, env={**os.environ, **own, "PATH": path},
                        capture_output=True, text=True, check=False,
                    )  # fmt: skip
                    failed += done.returncode != 0
                    verdict = "ok    " if done.returncode == 0 else "FAILED"
                    print(f"{verdict} {page.name}: {line}  ({time.monotonic() - began:.0f} s)", flush=True)
                    if done.returncode:
                        print(done.stdout[-800:] + done.stderr[-800:], flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
