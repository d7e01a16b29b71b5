"""Picture every window and dialog, light and dark, on small and large screens, at 100 and 200 %.

    python assets/screens/make_contact_sheet.py [--out FOLDER] [--sheet PNG] [--screens 1280x720@1 ...]

Writes one picture a screen into FOLDER and a contact sheet of small ones, and names every dialog that does
not fit its screen. Needs lagline and its demo takes, no display and no sound device. A screen's size is in
its own pixels: 2560x1440@2 has room for 1280 x 720 of the desk's.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

SCREENS = ("1280x720@1", "2560x1440@1", "2560x1440@2", "1280x720@2")
SHEET = Path(__file__).resolve().parents[1] / "guide" / "pictures" / "contact-sheet.png"


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--out", type=Path, help="keep the pictures in this folder")
    parser.add_argument("--sheet", type=Path, default=SHEET)
    parser.add_argument("--screens", nargs="+", default=list(SCREENS), metavar="WxH@SCALE")
    parser.add_argument("--only", default="", help="only screens whose name holds this word")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        out = given.out or Path(scratch) / "pictures"
        takes = Path(scratch) / "takes"
        measured_takes(takes)
        for screen in given.screens:
            capture(screen, out, takes, Path(scratch), given.only)
        if not given.only:
            from contact_sheet import make_sheet

            make_sheet(out, given.sheet)


def measured_takes(folder: Path) -> None:
    """The demo takes, as recorded and measured, for every capture to open."""
    from msgspec.structs import replace

    from lagline.analysis.options import AnalysisOptions
    from lagline.jobs.decide import measured_and_accepted
    from lagline.jobs.demo import load_demo
    from lagline.session.edits import with_version
    from lagline.session.storage import save

    folder.mkdir(parents=True)
    for name in ("chapel", "kit"):
        accepted = measured_and_accepted(load_demo(name), AnalysisOptions()).session
        save(accepted, folder / f"{name} accepted.lagline")
        save(
            with_version(accepted, replace(accepted.current_version, moves={})),
            folder / f"{name} measured.lagline",
        )


def capture(screen: str, out: Path, takes: Path, scratch: Path, only: str) -> None:
    """Run the camera in a process of its own: the scale of Qt is fixed when it starts."""
    size, scale = screen.split("@")
    width, height = (int(part) for part in size.split("x"))
    config = scratch / f"{screen}.json"
    one = {"name": "screen", "x": 0, "y": 0, "width": width, "height": height, "logicalDpi": 96}
    config.write_text(json.dumps({"screens": [{**one, "logicalBaseDpi": 96, "dpr": 1}]}), "utf-8")
    environment = {
        **os.environ,
        "QT_QPA_PLATFORM": f"offscreen:configfile={config}",
        "QT_SCALE_FACTOR": scale,
        "LAGLINE_CACHE_DIR": str(scratch / "cache"),
    }
    camera = Path(__file__).with_name("camera.py")
    arguments = [str(out / screen), str(takes), *([only] if only else [])]
    subprocess.run([sys.executable, str(camera), *arguments], env=environment, check=True)


if __name__ == "__main__":
    main()
