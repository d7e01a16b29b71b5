"""`lagline apply`: a setup on another take, measured again and compared."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lagline.cli import options, progress
from lagline.cli.telling import note

if TYPE_CHECKING:
    from lagline.cli.documents import AppliedLane, ApplyDocument
    from lagline.jobs.apply_setup import AppliedSetup

SetupFile = Annotated[
    Path,
    typer.Argument(
        help="A setup file, or a session whose current version is the setup.",
        metavar="SETUP",
        show_default=False,
    ),
]
Output = Annotated[
    Path | None,
    typer.Option("--out", help="Save a session of the take here (NAME.lagline).", metavar="SESSION"),
]
TakeNew = Annotated[
    bool, typer.Option("--take-new", help="Use what was measured now, where it was found, not the setup.")
]


def apply_command(
    setup_file: SetupFile,
    recordings: options.Recordings,
    out: Output = None,
    take_new: TakeNew = False,
    search_ms: options.SearchMs = None,
    temperature_c: options.SetupTemperatureC = None,
    as_json: options.AsJson = False,
) -> None:
    """Put a setup's shifts and flips on another take of the same microphones, and say which lanes moved."""
    from lagline.jobs.apply_setup import apply_setup, read_setup
    from lagline.jobs.open_take import open_take
    from lagline.session.storage import save

    if out is not None:
        options.refuse_to_overwrite(out)
    setup = read_setup(setup_file)
    air_c = setup.temperature_c if temperature_c is None else temperature_c
    take = open_take(recordings, temperature_c=air_c)
    take.to_line_up()
    with progress.shown("Measuring") as tell:
        done = apply_setup(setup, take.session, search_ms=search_ms, take_new=take_new, progress=tell)
    if out is not None:
        save(done.session, out)
    session, rows = done.session, _rows(done)
    warnings = [*take.problems, *done.warnings]
    if as_json:
        import msgspec

        document: ApplyDocument = {
            "schema": "lagline/apply/1",
            "setup": setup.name,
            "rate_hz": session.rate_hz,
            "lanes": rows,
            "warnings": warnings,
        }
        sys.stdout.write(msgspec.json.format(msgspec.json.encode(document), indent=1).decode() + "\n")
        return
    for warning in warnings:
        note(warning)
    _print_rows(session.name, setup.name, rows)


def _rows(done: AppliedSetup) -> list[AppliedLane]:
    session = done.session
    return [
        {
            "name": session.lane(row.lane_id).name,
            "setup_lane": done.matched.get(row.lane_id),
            "expected_samples": row.expected_samples,
            "measured_samples": row.measured_samples,
            "difference_samples": row.difference_samples,
            "polarity_agrees": row.polarity_agrees,
            "word": row.word,
            "shift_samples": session.current_version.move(row.lane_id).shift_samples,
            "polarity": session.current_version.move(row.lane_id).polarity,
        }
        for row in done.comparisons
    ]


def _print_rows(take: str, setup: str, rows: list[AppliedLane]) -> None:
    from lagline.cli.tables import number, print_table

    print_table(
        f"{take} against the setup {setup}",
        (
            "lane",
            "setup's lane",
            "expected",
            "measured",
            "difference",
            "against the setup",
            "shift now",
            "polarity",
        ),
        [
            (
                row["name"],
                row["setup_lane"] or "-",
                number(row["expected_samples"]),
                number(row["measured_samples"]),
                number(row["difference_samples"]),
                row["word"],
                number(row["shift_samples"]),
                "flipped" if row["polarity"] < 0 else "as recorded",
            )
            for row in rows
        ],
        words=("lane", "setup's lane", "against the setup", "polarity"),
    )
