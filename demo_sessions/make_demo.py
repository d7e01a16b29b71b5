"""Make the demo takes: python demo_sessions/make_demo.py [--out FOLDER] [--take NAME].

Needs numpy, scipy and soundfile; nothing is drawn from the clock or the machine, so the same samples
come out every time. With lagline installed the session files are written too.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import sys
from pathlib import Path

import soundfile

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from generator import chapel, kit, two_recorders  # noqa: E402
from generator.room import RATE_HZ  # noqa: E402
from generator.scene import Scene, render, truth  # noqa: E402

STORED = ("chapel", "kit")  # in the repository; the others are made when asked for
TAKES = {"chapel": chapel, "kit": kit, "two_recorders": two_recorders}


def make(name: str, out: Path) -> None:
    """Write the lanes, the table of truth and, where lagline is installed, the session of one take."""
    scene = TAKES[name].SCENE
    folder = out / name
    folder.mkdir(parents=True, exist_ok=True)
    frames = int(scene.seconds * RATE_HZ)
    lanes = render(scene, TAKES[name].sounds(frames), frames)
    for lane in scene.lanes:
        path = folder / f"{lane.name}.flac"
        soundfile.write(path, lanes[lane.name], RATE_HZ, subtype="PCM_16", compression_level=1.0)
    (folder / "truth.json").write_text(json.dumps(truth(scene), indent=1) + "\n", encoding="utf-8")
    if importlib.util.find_spec("lagline"):
        write_session(scene, folder)
    else:
        print(f"lagline is not installed here: {name}.lagline was not written", file=sys.stderr)


def write_session(scene: Scene, folder: Path) -> None:
    """The take as the desk opens it: lanes placed in the blend, nothing measured yet."""
    from msgspec.structs import replace

    from lagline.jobs.open_take import open_take
    from lagline.session.edits import with_balances
    from lagline.session.storage import save
    from lagline.session.values import Balance

    plans = {plan.name: plan for plan in scene.lanes}
    session = open_take(
        [folder / f"{name}.flac" for name in plans], temperature_c=scene.room.temperature_c
    ).session
    balances = {lane.id: Balance(plans[lane.name].gain_db, plans[lane.name].pan) for lane in session.lanes}
    session = with_balances(replace(session, name=scene.title, notes=scene.notes), balances)
    path = folder / f"{scene.name}.lagline"
    path.unlink(missing_ok=True)  # or save would keep it as a backup
    save(session, path)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write into (default: this one)")
    parser.add_argument("--take", choices=sorted(TAKES), action="append", help="only this take")
    options = parser.parse_args()
    for name in options.take or STORED:
        make(name, options.out)


if __name__ == "__main__":
    main()
