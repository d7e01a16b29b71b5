"""`lagline render`: aligned files and blends of a take."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from lagline.cli import options, progress
from lagline.deliver.options import DEFAULT_NAMES, RATES_HZ, DeliveryOptions, Depth
from lagline.units import DEFAULT_TEMPERATURE_C

Take = Annotated[
    list[Path],
    typer.Argument(
        help="Recordings of one take, a folder of them, or a session file, whose decisions are then kept.",
        metavar="FILE",
        show_default=False,
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
Match = Annotated[bool, typer.Option("--match", help="Turn the louder blend down to the quieter one.")]
Mono = Annotated[bool, typer.Option("--mono", help="Blends in mono.")]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Replace files of an earlier delivery.")]


def render_command(
    take: Take,
    out: Out,
    version: VersionName = None,
    depth: DepthOption = "source",
    file_rate: FileRate = None,
    names: Names = DEFAULT_NAMES,
    match: Match = False,
    mono: Mono = False,
    overwrite: Overwrite = False,
    anchor: options.Anchor = "latest",
    search_ms: options.SearchMs = None,
    start: options.From = None,
    stop: options.To = None,
    rate: options.Rate = None,
    temperature_c: options.TemperatureC = DEFAULT_TEMPERATURE_C,
    whole_samples: options.WholeSamples = False,
) -> None:
    """Write aligned files, the original and the shifted blend, and a delay sheet."""
    from lagline.jobs.decide import measured_and_accepted
    from lagline.jobs.hand_over import hand_over_take
    from lagline.jobs.open_take import open_take
    from lagline.session.storage import SUFFIX, load

    if file_rate is not None and file_rate not in RATES_HZ:
        raise typer.BadParameter(f"--file-rate is one of {', '.join(map(str, RATES_HZ))}")
    if [path.suffix for path in take] == [SUFFIX]:
        session = load(take[0])
        version_id = options.version_named(session, version).id
    elif version is not None:
        raise typer.BadParameter("--version goes with a session file")
    else:
        opened = open_take(take, rate_hz=rate, temperature_c=temperature_c)
        opened.to_line_up()
        chosen = options.analysis_options(opened.session, anchor, search_ms, start, stop)
        with progress.shown("Measuring") as tell:
            decided = measured_and_accepted(
                opened.session, chosen, whole_samples=whole_samples, progress=tell
            )
        session, version_id = decided.session, decided.session.current_version_id
        for note in (*opened.problems, *decided.warnings):
            print(f"note: {note}", file=sys.stderr)
    delivery = DeliveryOptions(
        depth=depth,
        rate_hz=file_rate,
        whole_samples=whole_samples,
        names=names,
        mono_blend=mono,
        overwrite=overwrite,
    )
    with progress.shown("Writing") as tell:
        done = hand_over_take(session, out, version_id, delivery, level_matched=match, progress=tell)
    for note in done.warnings:
        print(f"note: {note}", file=sys.stderr)
    for path in done.paths:
        print(path)
