"""Write the guide's page on accuracy, and its diagram, from figures that the report scripts have written.

    python -m tests.benchmarks.accuracy_page [--figures FOLDER] [--guide FOLDER]

Reads FOLDER/estimator.json (estimator_report --json), bound.json (analysis_bound --json) and, where the
judge's fitting script has written it, left_out.json ([{name, lanes, right: [n, of], with: [n, of]}]). No
figure on the page is typed by hand.
"""

from __future__ import annotations

import argparse
import json
import os
from pathlib import Path
from typing import Any

import jinja2
from tests.benchmarks.estimator.reliability_svg import diagram
from tests.benchmarks.estimator.tables import best_peer

FIGURES = Path(__file__).parent / "figures"
GUIDE = Path(__file__).parents[2] / "assets" / "guide"
TEMPLATE = Path(__file__).parent / "estimator" / "accuracy.md.jinja"
DIAGRAM_SCALE = 2
SETS = (
    (
        "own",
        "Scenarios",
        "Pairs and kits of synthetic music with random starts. Other starts of them were used to fit.",
    ),
    (
        "material",
        "By recording practice",
        "Slates, kits, ensembles, pickups, cabinets, edits and more, by a second maker with rooms, sounds\n"
        "and microphones of its own; `tests/material/README.md` says how. Other starts were used to fit.",
    ),
    ("lab", "A further maker", "Takes of a third maker, who knew nothing of the estimator."),
)
FAMILIES = {
    "single": "one clap, slate, click, note or stroke",
    "array": "eight microphones in a line, one impulse",
    "kit": "drum kits of 4 to 15 lanes",
    "ensemble": "ensembles with spots and a main pair",
    "trio": "close, far and direct",
    "contact": "pickups and triggers against air",
    "amp": "direct line against a cabinet",
    "throat": "throat microphone against air",
    "extended": "piano, guitar, saxophone, tuba close up",
    "voice0": "a voice 6 to 0 dB over noise",
    "periodic": "periodic and sustained",
    "coloured": "coloured: other high-passes, other microphones",
    "rotated": "phase turned across the band",
    "far": "recorders started up to a minute apart",
    "drift": "two clocks",
    "move": "a source that moves",
    "edit": "cut, clipped, coded, gated, other formats and levels",
    "unrelated": "nothing of the performance in common",
}


def percent(part: list[int]) -> str:
    return f"{100 * part[0] / part[1]:.1f} %" if part[1] else ""


def peer(figures: dict[str, Any]) -> tuple[str, list[int], int | str]:
    """Name, [right, of] and wrong of the best other method."""
    best = best_peer(figures)
    return (best[0], best[1]["right"], best[1]["wrong"]) if best else ("", [0, 0], "")


def read(path: Path) -> Any:
    return json.loads(path.read_text(encoding="utf-8")) if path.is_file() else None


def page(figures: Path) -> str:
    """The page as Markdown."""
    environment = jinja2.Environment(
        undefined=jinja2.StrictUndefined, keep_trailing_newline=True, trim_blocks=True
    )
    template = environment.from_string(TEMPLATE.read_text(encoding="utf-8"))
    return template.render(
        report=read(figures / "estimator.json"),
        bound=read(figures / "bound.json"),
        left_out=read(figures / "left_out.json"),
        SETS=SETS,
        FAMILIES=FAMILIES,
        percent=percent,
        fraction=lambda part: f"{part[0]} of {part[1]}" if part[1] else "",
        peer=peer,
    )


def draw(figures: Path, picture: Path) -> None:
    """The reliability diagram as a picture the desk's guide can show."""
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    from PySide6.QtCore import QByteArray
    from PySide6.QtGui import QImage, QPainter
    from PySide6.QtSvg import QSvgRenderer
    from PySide6.QtWidgets import QApplication

    application = QApplication.instance() or QApplication([])
    svg = diagram(read(figures / "estimator.json")["reliability"], "Trust said against share right")
    renderer = QSvgRenderer(QByteArray(svg.encode()))
    image = QImage(renderer.defaultSize() * DIAGRAM_SCALE, QImage.Format.Format_RGB32)
    painter = QPainter(image)
    renderer.render(painter)
    painter.end()
    image.save(str(picture))
    del application


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--figures", type=Path, default=FIGURES)
    parser.add_argument("--guide", type=Path, default=GUIDE)
    a = parser.parse_args()
    (a.guide / "accuracy.md").write_text(page(a.figures), encoding="utf-8")
    draw(a.figures, a.guide / "pictures" / "reliability.png")


if __name__ == "__main__":
    main()
