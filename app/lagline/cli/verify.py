"""`lagline verify`: is a delivery still what was delivered?"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lagline.cli import options, progress
from lagline.files import readable

if TYPE_CHECKING:
    from lagline.cli.documents import VerifyDocument

Folder = Annotated[
    Path, typer.Argument(help="A folder that was delivered.", metavar="FOLDER", show_default=False)
]
Recordings = Annotated[
    list[Path] | None,
    typer.Option(
        "--recordings",
        help="A recording, or a folder of them, to compare the lanes with. Give it again for more.",
        metavar="FILE",
        show_default=False,
    ),
]


def verify_command(folder: Folder, recordings: Recordings = None, as_json: options.AsJson = False) -> int:
    """Hold a delivery against its list: every checksum, length, stamp and level, and with `--recordings` that
    each lane still is its recording, moved. Exit code 1 when something is not as it was delivered.
    """
    from lagline.cli.tables import number, print_line, print_table
    from lagline.jobs.verify import verify_delivery

    with progress.shown("Reading") as tell:
        found = verify_delivery(folder, recordings or (), progress=tell)
    changed = [one for one in found if one.problems]
    if as_json:
        import msgspec

        document: VerifyDocument = {
            "schema": "lagline/verify/1",
            "as_delivered": not changed,
            "files": [
                {"file": readable(str(one.path)), "problems": one.problems, "compared": one.compared}
                for one in found
            ],
        }
        sys.stdout.write(msgspec.json.format(msgspec.json.encode(document), indent=1).decode() + "\n")
        return 1 if changed else 0
    sound = [one for one in found if one.file.kind in ("lane", "blend")]
    if sound:
        print_table(
            f"{folder}",
            ["file", "seconds", "LUFS", "dBTP", "with its recording", "state"],
            [
                (
                    one.file.name,
                    f"{one.file.frames / one.file.rate_hz:.3f}" if one.file.rate_hz > 0 else "-",
                    number(one.file.loudness_lufs, 1),
                    number(one.file.true_peak_dbtp, 1),
                    one.compared or "not compared",
                    "changed" if one.problems else "as delivered",
                )
                for one in sound
            ],
            words=("file", "with its recording", "state"),
        )
    for one in changed:
        for problem in one.problems:
            print_line(f"problem: {one.path.name}: {problem}.")
    print_line(f"{len(found) - len(changed)} of {len(found)} files are as they were delivered.")
    return 1 if changed else 0
