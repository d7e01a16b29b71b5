"""Films the job on the demo take for the top of README: a looping picture, a line of words to each scene.

    python assets/screens/make_film.py [--out assets/job.gif]      (needs lagline, its demo takes, and ffmpeg)

No display and no sound device. Run it after a change of the desk.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
os.environ["QT_QPA_PLATFORM"] = "offscreen"

from assets.screens.camera import Camera  # noqa: E402
from msgspec.structs import replace  # noqa: E402
from PySide6.QtCore import QRect, QSettings, Qt  # noqa: E402
from PySide6.QtGui import QColor, QFont, QPainter, QPixmap  # noqa: E402

from lagline.analysis.options import AnalysisOptions  # noqa: E402
from lagline.desk.app import make_application  # noqa: E402
from lagline.desk.style import dress  # noqa: E402
from lagline.desk.window import DeskWindow  # noqa: E402
from lagline.jobs.decide import measured_and_accepted  # noqa: E402
from lagline.jobs.demo import load_demo  # noqa: E402
from lagline.playback.player import Player  # noqa: E402
from lagline.session.edits import with_version  # noqa: E402

DESK_PX, WORDS_PX, FILM_PX = (1280, 760), 56, 1000
GROUND, LETTERS = "#16212c", "#f4f7fa"


class Film:
    """Scenes of the window, each with its words and how long it stands."""

    def __init__(self, camera: Camera, folder: Path) -> None:
        self._camera, self._folder = camera, folder
        self._list: list[str] = []

    def scene(self, words: str, seconds: float) -> None:
        self._camera.settle(0.4)
        shot = self._camera.window.grab()
        picture = QPixmap(shot.width(), shot.height() + WORDS_PX)
        picture.fill(QColor(GROUND))
        painter = QPainter(picture)
        painter.drawPixmap(0, 0, shot)
        painter.setPen(QColor(LETTERS))
        font = QFont(self._camera.window.font())
        font.setPixelSize(24)
        painter.setFont(font)
        line = QRect(0, shot.height(), shot.width(), WORDS_PX)
        painter.drawText(line, Qt.AlignmentFlag.AlignCenter, words)
        painter.end()
        path = self._folder / f"{len(self._list):02d}.png"
        picture.save(str(path), "PNG")
        self._list.append(f"file '{path}'\nduration {seconds}\n")

    def write(self, out: Path) -> None:
        """One looping GIF with a palette of its own."""
        scenes = self._folder / "scenes.txt"
        last = self._list[-1].partition("\n")[0]  # the last duration counts only when something follows
        scenes.write_text("".join(self._list) + last + "\n", "utf-8")
        shape = f"scale={FILM_PX}:-1:flags=lanczos,split[a][b];[a]palettegen=max_colors=96:stats_mode=full[p]"
        shape += ";[b][p]paletteuse=dither=none:diff_mode=rectangle"
        words = ["ffmpeg", "-y", "-loglevel", "error", "-f", "concat", "-safe", "0", "-i", str(scenes)]
        subprocess.run([*words, "-vf", shape, "-fps_mode", "vfr", "-loop", "0", str(out)], check=True)


def shoot(film: Film, camera: Camera) -> None:
    window = camera.window
    done = measured_and_accepted(load_demo("chapel"), AnalysisOptions()).session
    found = with_version(done, replace(done.current_version, moves={}))
    camera.open(replace(found, alignment=None, anchor_id=None))
    film.scene("One performance, four lanes: each hears it at another time", 2.5)
    camera.open(found)
    window.commands.choose_lane(found.lane_named("pickup").id)
    film.scene("Measured: how late each lane is, whether it is upside down, and why to believe it", 3.5)
    window.commands.work.step_attack(1)
    camera.settle(1.5)
    window.commands.view.show_tab(1)
    camera.settle(0.8)
    film.scene("A few milliseconds around an attack: as recorded, and lined up below", 3.0)
    camera.open(done)
    window.commands.view.show_tab(0)
    film.scene("Accepted: the early lanes wait for the latest, the inverted one is turned over", 3.0)
    window.commands.view.show_tab(2)
    camera.wait(lambda: not window.commands.tone._task.is_busy, "the tone")
    film.scene("What that does to the tone of the blend", 3.0)
    window.commands.view.show_tab(3)
    film.scene("Compare at equal loudness, eyes open or blind, then deliver. You decide.", 3.5)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--out", type=Path, default=ROOT / "assets" / "job.gif")
    out = parser.parse_args().out.resolve()
    if shutil.which("ffmpeg") is None:
        raise SystemExit("make_film.py: ffmpeg is not here")
    application = make_application(["lagline"])
    dress(application, "light")
    with tempfile.TemporaryDirectory() as folder:
        settings = QSettings(str(Path(folder) / "settings.ini"), QSettings.Format.IniFormat)
        window = DeskWindow(Player(measure_levels=False), settings)
        window.parts.settings.caution_read = window.parts.settings.welcomed = True
        window.resize(*DESK_PX)
        window.show()
        window.parts.side.build()
        camera = Camera(application, window, Path(folder), "nothing is kept by itself")
        film = Film(camera, Path(folder))
        try:
            shoot(film, camera)
        finally:
            window.shut_down()
            window.hide()
        film.write(out)
    print(f"{out}: {out.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    main()
