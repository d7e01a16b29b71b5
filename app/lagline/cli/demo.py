"""`lagline demo`: the main job on a demo take, in the desk, or done here where there is no display."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lagline.cli import options, progress
from lagline.cli.desk_door import DeskDoor, window_problem
from lagline.cli.telling import aside, note
from lagline.errors import LaglineError

TakeName = Annotated[str, typer.Argument(help="Which demo take: chapel or kit.", metavar="[TAKE]")]
Out = Annotated[
    Path | None,
    typer.Option(
        "--out",
        "-o",
        help="Write the results here, display or not. By default ./lagline-demo, without a display only.",
        metavar="FOLDER",
    ),
]
PICTURE_SIZE = (1280, 800)


def demo_command(context: typer.Context, take: TakeName = "chapel", out: Out = None) -> int:
    """Do the whole job once on a take that comes with Lagline."""
    from lagline.jobs.demo import demo_session_path

    desk: DeskDoor = context.obj
    session_path = demo_session_path(take)
    if out is None:
        problem = window_problem()
        if problem is None:
            return desk.open([session_path], measure=True)
        aside(f"No window can be opened here ({problem}): the demo is done without one.")
    folder = out if out is not None else _fresh(Path("lagline-demo"))
    _without_a_window(take, folder, desk)
    return 0


def _without_a_window(take: str, folder: Path, desk: DeskDoor) -> None:
    from lagline.analysis.options import AnalysisOptions
    from lagline.cli.findings_table import print_findings
    from lagline.deliver.options import DeliveryOptions
    from lagline.jobs.decide import measured_and_accepted
    from lagline.jobs.demo import load_demo
    from lagline.jobs.hand_over import check_folder, hand_over_take
    from lagline.jobs.write_report import report_file, report_page
    from lagline.session.storage import SUFFIX, save

    session = load_demo(take)
    session_file = folder / f"{take}{SUFFIX}"
    options.refuse_to_overwrite(session_file)
    check_folder(session, folder, session.current_version_id, DeliveryOptions())
    with progress.shown("Measuring") as tell:
        decided = measured_and_accepted(session, AnalysisOptions(), progress=tell).session
    assert decided.alignment is not None
    print_findings(decided, decided.alignment, ())
    version = decided.current_version
    with progress.shown("Reporting") as tell:
        page = report_page(decided, version, progress=tell)
    with progress.shown("Writing") as tell:
        done = hand_over_take(
            decided,
            folder,
            version.id,
            DeliveryOptions(),
            level_matched=True,
            extras=[report_file(decided, version, page)],
            progress=tell,
        )
    save(decided, session_file)
    written = [*done.paths, session_file, *_pictures(session_file, folder, desk)]
    print(f"\nWritten to {folder.absolute()}:")
    for path in written:
        print(f"  {path.relative_to(folder)}")
    print("Listen to the two blends one after the other: they are equally loud. Start at a low level.")


def _pictures(session_file: Path, folder: Path, desk: DeskDoor) -> list[Path]:
    """The desk in light and dark; a machine without the window's libraries goes without, and is told."""
    pictures = []
    for name, dark in (("desk light.png", False), ("desk dark.png", True)):
        picture = folder / name
        try:
            desk.picture(session_file, picture, *PICTURE_SIZE, dark)
        except (ImportError, LaglineError) as error:
            note(f"no picture of the desk was made ({error}).")
            break
        pictures.append(picture)
    return pictures


def _fresh(folder: Path) -> Path:
    """The folder, or the first of folder-2, folder-3, ... that is not there yet."""
    number = 1
    while (candidate := folder if number == 1 else folder.with_name(f"{folder.name}-{number}")).exists():
        number += 1
    return candidate
