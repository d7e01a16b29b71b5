"""`lagline deliver`: aligned files and blends of a take."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, NamedTuple, cast

import typer

from lagline.cli import options, progress
from lagline.cli.telling import note
from lagline.deliver.options import (
    DEFAULT_NAMES,
    HIGHEST_PEAK_DBTP,
    RATES_HZ,
    DeliveryOptions,
    Depth,
    Edit,
    Layout,
)
from lagline.units import DEFAULT_TEMPERATURE_C

if TYPE_CHECKING:
    from lagline.jobs.hand_over import HandedOver
    from lagline.jobs.open_take import OpenedTake
    from lagline.session.values import Session

Take = Annotated[
    list[Path],
    typer.Argument(
        help="Recordings of one take, a folder of them, or a session file, whose decisions are then kept.",
        metavar="FILE",
        show_default=False,
        callback=options.with_names_read,
    ),
]
Out = Annotated[Path, typer.Option("--out", "-o", help="Folder for what is written.", metavar="FOLDER")]
VersionName = Annotated[
    str | None, typer.Option("--version", help="Version of a session file. By default its current one.")
]
DepthOption = Annotated[
    Depth, typer.Option(help="Sample format: as the source, 16 or 24 bits (dithered), or 32-bit float.")
]
FileRate = Annotated[
    int | None,
    typer.Option("--file-rate", help=f"Rate of the files: {', '.join(map(str, RATES_HZ))} Hz.", metavar="HZ"),
]
Names = Annotated[
    str, typer.Option(help="File names; fields {take}, {lane}, {version}, {n}.", metavar="TEMPLATE")
]
Form = Annotated[
    Literal["wav", "flac"],
    typer.Option("--format", help="File format. Few editors read a time stamp from FLAC."),
]
LayoutOption = Annotated[
    Layout,
    typer.Option(
        help="Aligned files: one a lane; one again for the lanes of each recording, in its order of "
        "channels; or one for the whole take."
    ),
]
AllVersions = Annotated[bool, typer.Option("--all-versions", help="Write the blends of all versions.")]
Match = Annotated[
    bool,
    typer.Option("--match", help="Turn blends down to the quietest of all versions, written or not."),
]
TruePeak = Annotated[
    float,
    typer.Option(
        help="No blend's true peak lies above this, in dBTP: all are turned down alike, never up.",
        min=-60.0,
        max=0.0,
        metavar="DBTP",
    ),
]
AsMixed = Annotated[
    bool, typer.Option("--as-mixed", help="Leave blends at their own level, even where they clip.")
]
EditOption = Annotated[
    Edit,
    typer.Option(
        help="The recordings untouched, with an edit that an editor opens and can change: an OpenTimelineIO "
        "timeline and a table; bundle puts the recordings into it."
    ),
]
Mono = Annotated[bool, typer.Option("--mono", help="Blends in mono.")]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Replace files of an earlier delivery.")]


def deliver_command(
    take: Take,
    out: Out,
    version: VersionName = None,
    depth: DepthOption = "source",
    file_rate: FileRate = None,
    names: Names = DEFAULT_NAMES,
    file_format: Form = "wav",
    layout: LayoutOption = "lanes",
    all_versions: AllVersions = False,
    match: Match = False,
    true_peak: TruePeak = HIGHEST_PEAK_DBTP,
    as_mixed: AsMixed = False,
    mono: Mono = False,
    edit: EditOption = "none",
    overwrite: Overwrite = False,
    anchor: options.Anchor = "latest",
    search_ms: options.SearchMs = None,
    start: options.From = None,
    stop: options.To = None,
    rate: options.Rate = None,
    temperature_c: options.TemperatureC = DEFAULT_TEMPERATURE_C,
    whole_samples: options.WholeSamples = False,
    whole_within: options.WholeWithin = False,
) -> None:
    """Write aligned files, the original and the shifted blend, and a delay sheet."""
    if file_rate is not None and file_rate not in RATES_HZ:
        raise typer.BadParameter(f"--file-rate is one of {', '.join(map(str, RATES_HZ))}")
    delivery = DeliveryOptions(
        depth=depth,
        rate_hz=file_rate,
        file_format=cast(Literal["WAV", "FLAC"], file_format.upper()),
        layout=layout,
        whole_samples=whole_samples,
        names=names,
        mono_blend=mono,
        peak_dbtp=None if as_mixed else true_peak,
        overwrite=overwrite,
    )
    measuring = _Measuring(anchor, search_ms, start, stop, rate, temperature_c, whole_within)
    with _overwriting_told(overwrite):
        session, version_id = _decided(take, version, measuring, out, delivery, edit)
        done = _written(session, out, version_id, delivery, match, all_versions, edit)
    for said in done.warnings:
        note(said)
    for path in done.paths:
        print(path)


@contextmanager
def _overwriting_told(overwrite: bool) -> Iterator[None]:
    """A file that is in the way, but may be replaced, is an occasion to say how."""
    from lagline.errors import WouldOverwrite

    try:
        yield
    except WouldOverwrite as error:
        if not error.replaceable or overwrite:
            raise
        step = "Choose another folder, or add --overwrite to replace what is there."
        raise WouldOverwrite(error.path, step=step) from error


def _written(
    session: Session,
    out: Path,
    version_id: str,
    delivery: DeliveryOptions,
    match: bool,
    all_versions: bool,
    edit: Edit,
) -> HandedOver:
    from lagline.jobs.hand_over import hand_over_take

    with progress.shown("Writing") as tell:
        return hand_over_take(
            session,
            out,
            version_id,
            delivery,
            level_matched=match,
            all_versions=all_versions,
            edit=edit,
            progress=tell,
        )


class _Measuring(NamedTuple):
    """Options that only recordings need; the defaults are those of the command."""

    anchor: str = "latest"
    search_ms: float | None = None
    start_s: float | None = None
    stop_s: float | None = None
    rate_hz: int | None = None
    temperature_c: float = DEFAULT_TEMPERATURE_C
    whole_within: bool = False


def _decided(
    take: list[Path],
    version: str | None,
    measuring: _Measuring,
    out: Path,
    delivery: DeliveryOptions,
    edit: Edit,
) -> tuple[Session, str]:
    """What is delivered, and the id of the version: of a session file, or measured now."""
    from lagline.jobs.hand_over import check_folder
    from lagline.session.storage import SUFFIX

    if any(path.suffix == SUFFIX for path in take):
        session = _decided_before(take, measuring)
        return session, options.version_named(session, version).id
    if version is not None:
        raise typer.BadParameter("--version goes with a session file")
    opened = _opened(take, measuring)
    version_id = opened.session.current_version_id
    check_folder(opened.session, out, version_id, delivery, edit)
    return _measured(opened, measuring, delivery.whole_samples), version_id


def _decided_before(take: list[Path], measuring: _Measuring) -> Session:
    """A session file, as it is. Raises BadParameter where recordings or their options come with it."""
    from lagline.session.storage import load

    if len(take) > 1:
        raise typer.BadParameter("give one session file, or recordings, not both")
    if measuring != _Measuring():
        raise typer.BadParameter(
            "a session file is written as it was decided: --anchor, --search-ms, --from, --to, --rate, "
            "--temperature-c and --whole-within go with recordings"
        )
    return load(take[0])


def _opened(take: list[Path], measuring: _Measuring) -> OpenedTake:
    from lagline.jobs.open_take import open_take

    opened = open_take(take, rate_hz=measuring.rate_hz, temperature_c=measuring.temperature_c)
    opened.to_line_up()
    return opened


def _measured(opened: OpenedTake, measuring: _Measuring, whole_samples: bool) -> Session:
    from lagline.jobs.decide import measured_and_accepted

    rounding = options.rounding(whole_samples, measuring.whole_within)
    chosen = options.analysis_options(
        opened.session, measuring.anchor, measuring.search_ms, measuring.start_s, measuring.stop_s
    )
    with progress.shown("Measuring") as tell:
        decided = measured_and_accepted(opened.session, chosen, rounding=rounding, progress=tell)
    for said in (*opened.problems, *decided.warnings):
        note(said)
    return decided.session
