"""`lagline batch` and `lagline merge`: a whole archive, take by take."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lagline.cli import options, progress
from lagline.cli.tables import print_line, print_table
from lagline.cli.telling import aside, note
from lagline.units import DEFAULT_TEMPERATURE_C

if TYPE_CHECKING:
    from lagline.jobs.find_takes import FoundTake
    from lagline.jobs.journal import TakeResult

MOST_NOTES = 20  # below the table; more would hide what is wrong
ALL_WELL, NOTHING_DONE, DONE_WITH_FAULTS = 0, 1, 3


def _share(text: str) -> tuple[int, int]:
    try:
        number, of = (int(part) for part in text.split("/"))
    except ValueError as error:
        raise typer.BadParameter(f"{text!r} is no share; write 2/5 for the second of five") from error
    if not 1 <= number <= of:
        raise typer.BadParameter(f"there is no share {number} of {of}")
    return number, of


Root = Annotated[
    Path, typer.Argument(help="Folder with the takes somewhere below it.", metavar="ROOT", show_default=False)
]
Results = Annotated[
    Path | None,
    typer.Option("--out", help="Folder for sessions, journal and summary. By default ROOT/lagline-batch."),
]
Pattern = Annotated[
    str | None,
    typer.Option(
        help="How file names tell takes apart, such as '{take}_{lane}'. By default each folder is a take."
    ),
]
Workers = Annotated[
    int | None, typer.Option(help="Takes measured at once. By default one a processor.", min=1, max=256)
]
Cluster = Annotated[
    str | None,
    typer.Option(
        metavar="ADDRESS",
        help="Let the workers of a dask.distributed scheduler do it, such as tcp://10.0.0.1:8786.",
    ),
]
Share = Annotated[
    str | None,
    typer.Option(
        metavar="K/N", help="Do only every N-th take, from the K-th: several machines share the work."
    ),
]
OldShare = Annotated[str | None, typer.Option("--shard", hidden=True)]
Deliver = Annotated[
    bool, typer.Option("--deliver", help="Deliver each take too, into a folder beside its session.")
]
AsLines = Annotated[
    bool, typer.Option("--json", help="Print each take as a line of JSON when it is done, as in the journal.")
]
SetupOption = Annotated[
    Path | None, typer.Option("--setup", help="A setup to keep; each take is compared with it.")
]


def batch_command(
    root: Root,
    out: Results = None,
    pattern: Pattern = None,
    workers: Workers = None,
    cluster: Cluster = None,
    share: Share = None,
    shard: OldShare = None,
    setup: SetupOption = None,
    anchor: options.Anchor = "latest",
    search_ms: options.SearchMs = None,
    rate: options.Rate = None,
    temperature_c: options.SetupTemperatureC = None,
    whole_samples: options.WholeSamples = False,
    whole_within: options.WholeWithin = False,
    deliver: Deliver = False,
    as_json: AsLines = False,
) -> int:
    """Measure every take below a folder. Stopped, it goes on where it was when asked again, and takes that
    failed are tried again. Exit code 0 when all is well; 3 when it is done but takes failed or recordings
    have faults; 1 when not one take could be measured.
    """
    from lagline.jobs.apply_setup import read_setup
    from lagline.jobs.batch import BatchOptions, run_batch
    from lagline.jobs.batch_summary import write_summary

    results = out or root / "lagline-batch"
    takes = _takes(root, pattern, results, share or shard)
    kept = None if setup is None else read_setup(setup)
    usual_c = DEFAULT_TEMPERATURE_C if kept is None else kept.temperature_c
    asked = BatchOptions(
        takes_from=_takes_from(root, results, pattern),
        anchor=anchor,
        search_ms=search_ms,
        rate_hz=rate,
        temperature_c=usual_c if temperature_c is None else temperature_c,
        rounding=options.rounding(whole_samples, whole_within),
        setup=kept,
        delivers=deliver,
    )
    try:
        with progress.shown("Measuring takes") as tell:
            done = run_batch(
                takes,
                results,
                asked,
                workers=_workers(workers, cluster),
                cluster=cluster or "",
                progress=tell,
                finished=_print_line if as_json else lambda _: None,
            )
    except KeyboardInterrupt:
        aside("The takes that are done are kept: the same command goes on from there.")
        raise
    files = write_summary(done, results)
    if not as_json:
        _show(done, files)
    if not any(result.state == "done" for result in done):
        return NOTHING_DONE
    return ALL_WELL if all(result.is_well for result in done) else DONE_WITH_FAULTS


def _workers(workers: int | None, cluster: str | None) -> int:
    if cluster and workers:
        raise typer.BadParameter("--workers is for this machine; a cluster has its own. Leave one out.")
    return workers or os.cpu_count() or 1


def _takes(root: Path, pattern: str | None, results: Path, share: str | None) -> Sequence[FoundTake]:
    """The takes below a folder that are to be measured; says what ends up in none."""
    from lagline.errors import BadPattern
    from lagline.jobs import find_takes

    try:
        found = find_takes.find_takes(root, pattern, leave_out=results)
    except BadPattern as error:
        raise typer.BadParameter(str(error)) from error
    takes = found.takes if share is None else find_takes.share(found.takes, *_share(share))
    for problem in found.problems:
        note(problem)
    return takes


def _print_line(result: TakeResult) -> None:
    import msgspec

    print(msgspec.json.encode(result).decode(), flush=True)


def _takes_from(root: Path, results: Path, pattern: str | None) -> str:
    """Which takes, in words that stay the same when archive and results move together."""
    try:
        where = Path(os.path.relpath(root, results)).as_posix()
    except ValueError:  # another drive on Windows
        where = root.absolute().as_posix()
    return f"takes below {where}" + (f" named {pattern}" if pattern else "")


def merge_command(
    folders: Annotated[
        list[Path],
        typer.Argument(help="Result folders of `lagline batch`.", metavar="FOLDER", show_default=False),
    ],
    out: Annotated[Path, typer.Option("--out", help="Folder for the summary of them all.")],
) -> None:
    """Put the summaries of several batches, or shares of one, together."""
    from lagline.jobs.batch_summary import merged, write_summary

    done = merged(folders)
    _show(done, write_summary(done, out))


def _show(results: Sequence[TakeResult], files: Sequence[Path]) -> None:
    rows = []
    for result in results:
        words = [lane.trust_word for lane in result.lanes]
        moved = [lane.name for lane in result.lanes if lane.against_setup == "moved"]
        counts = ", ".join(
            f"{words.count(word)} {word}" for word in ("strong", "usable", "weak", "none") if word in words
        )
        said = [f"moved: {', '.join(moved)}"] if moved else []
        said += [f"faults: {len(result.faults)}"] if result.faults else []
        remark = result.error or "; ".join(said)
        rows.append((result.take, result.state, result.anchor or "-", counts or "-", remark))
    print_table(
        "Takes", ("take", "state", "lined up on", "findings", "remark"), rows,
        words=("take", "state", "lined up on", "findings", "remark"),
    )  # fmt: skip
    for result in results:
        for fault in result.faults:
            print_line(f"fault in {result.take}: {fault}")
    notes = [f"note on {result.take}: {warning}" for result in results for warning in result.warnings]
    for line in notes[:MOST_NOTES]:
        print_line(line)
    if len(notes) > MOST_NOTES:
        print_line(f"{len(notes) - MOST_NOTES} more notes: {files[-1].name} has them all.")
    failed = sum(result.state == "failed" for result in results)
    faulty = sum(bool(result.faults) for result in results)
    first, *others = files
    named = ", ".join([str(first), *(path.name for path in others)])
    print_line(
        f"{len(results) - failed} takes measured, {failed} failed, {faulty} with faults. Written: {named}"
    )
