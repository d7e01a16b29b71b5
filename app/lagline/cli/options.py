"""Options that several commands share, with their help, and how their values are read."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lagline.amounts import NotAnAmount, ms_of
from lagline.analysis.options import AnalysisOptions
from lagline.errors import CannotWrite, NotInSession, WouldOverwrite
from lagline.files import is_there, write_whole
from lagline.session.values import Session, Version
from lagline.units import DEFAULT_TEMPERATURE_C

if TYPE_CHECKING:
    from lagline.session.edits import Rounding

STANDARD_INPUT = Path("-")  # common practice, no source
SHORTEST_SEARCH_MS, LONGEST_SEARCH_MS = 0.1, 86_400_000.0


def seconds(text: str) -> float:
    """A time as typed: 12.5, 12.5s, 800ms, 1:23.4 or 1:02:03. Raises typer.BadParameter."""
    *larger, last = text.split(":")
    try:
        total = ms_of(last, "s") / 1000.0
        for power, part in enumerate(reversed(larger), start=1):
            total += int(part) * 60.0**power
    except ValueError as error:
        reason = f" {error}" if isinstance(error, NotAnAmount) and not larger else ""
        raise typer.BadParameter(
            f"{text!r} is not a time; write seconds (12.5) or 1:23.4.{reason}"
        ) from error
    if not 0 <= total < 1e9:
        raise typer.BadParameter(f"{text!r} is not a time inside a take")
    return total


def milliseconds(text: str) -> float:
    """A way to search, as typed: 20, 0.5s. Raises typer.BadParameter."""
    try:
        ms = ms_of(text, "ms")
    except NotAnAmount as error:
        raise typer.BadParameter(str(error)) from error
    if not SHORTEST_SEARCH_MS <= ms <= LONGEST_SEARCH_MS:
        raise typer.BadParameter(f"{text!r} is not between {SHORTEST_SEARCH_MS:g} ms and a day")
    return ms


def with_names_read(paths: list[Path]) -> list[Path]:
    """The paths, with those that stand line by line on standard input in place of a "-"."""
    if paths.count(STANDARD_INPUT) > 1:
        raise typer.BadParameter("- can be read once")
    named: list[Path] = []
    for path in paths:
        lines = sys.stdin.read().splitlines() if path == STANDARD_INPUT else [str(path)]
        named += [Path(line) for line in lines if line]
    return named


Recordings = Annotated[
    list[Path],
    typer.Argument(
        help="Recordings of one take, or a folder of them; - reads names from standard input.",
        metavar="FILE",
        show_default=False,
        callback=with_names_read,
    ),
]
Anchor = Annotated[
    str,
    typer.Option(
        metavar="NAME",
        help="Line up on this lane: its name, or 'latest' (nothing plays before it was played) or 'first'.",
    ),
]
Source = Annotated[
    str | None,
    typer.Option(
        metavar="NAME",
        help="Where several instruments sound: line up what stands at none on the one at this lane.",
    ),
]
SearchMs = Annotated[
    float | None,
    typer.Option(
        help="Look no further than this to either side: ms, or with a unit (0.5s). Automatic by default.",
        parser=milliseconds,
        metavar="MS",
    ),
]
From = Annotated[
    float | None,
    typer.Option("--from", parser=seconds, help="Measure from here: seconds or m:ss.", metavar="TIME"),
]
To = Annotated[
    float | None,
    typer.Option("--to", parser=seconds, help="Measure up to here: seconds or m:ss.", metavar="TIME"),
]
Rate = Annotated[
    int | None,
    typer.Option(
        help="Session rate in Hz. By default the one most files have.", min=8000, max=768000, metavar="HZ"
    ),
]
TemperatureC = Annotated[
    float, typer.Option(help="Air temperature in degrees C, for distances.", min=-60.0, max=60.0, metavar="C")
]
SetupTemperatureC = Annotated[
    float | None,
    typer.Option(
        "--temperature-c",
        help=f"Air temperature in degrees C, for distances. By default the setup's, else "
        f"{DEFAULT_TEMPERATURE_C:g}.",
        min=-60.0,
        max=60.0,
        metavar="C",
    ),
]
WholeSamples = Annotated[bool, typer.Option("--whole-samples", help="Propose whole samples only.")]
WholeWithin = Annotated[
    bool,
    typer.Option(
        "--whole-within",
        help="Propose whole samples, which copy a lane bit for bit, where the uncertainty allows it.",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON on stdout, and nothing else there.")]


def analysis_options(
    session: Session,
    anchor: str,
    search_ms: float | None,
    start_s: float | None,
    stop_s: float | None,
    source: str | None = None,
) -> AnalysisOptions:
    """The typed options in the session's terms. Raises NotInSession for what isn't a lane."""
    start = None if start_s is None else round(start_s * session.rate_hz)
    stop = None if stop_s is None else round(stop_s * session.rate_hz)
    end = session.span()[1]
    if start is not None and start >= end:
        raise typer.BadParameter(
            f"--from lies behind the end of the take, which is {end / session.rate_hz:.3f} s long"
        )
    if start is not None and stop is not None and start >= stop:
        raise typer.BadParameter("--from must lie before --to, by a sample at least")
    if anchor not in ("latest", "first"):
        try:
            anchor = session.lane_named(anchor).id
        except NotInSession as error:
            choices = ("latest", "first", *(lane.name for lane in session.lanes))
            raise NotInSession("lane to line up on", anchor, choices) from error
    return AnalysisOptions(
        anchor=anchor,
        search_ms=search_ms,
        source=None if source is None else session.lane_named(source).id,
        start=start,
        stop=stop,
    )


def rounding(whole_samples: bool, whole_within: bool) -> Rounding:
    """What both options together ask for."""
    return "all" if whole_samples else "within" if whole_within else "none"


def refuse_to_overwrite(path: Path) -> None:
    """Raises WouldOverwrite when something is already there."""
    if is_there(path):
        raise WouldOverwrite(path)


def version_named(session: Session, name: str | None) -> Version:
    """The version of that name or id, capitals ignored; the current one for None. Raises NotInSession."""
    if name is None:
        return session.current_version
    versions = (session.original, *session.versions)
    for version in versions:
        if name.casefold() in (version.name.casefold(), version.id.casefold()):
            return version
    raise NotInSession("version", name, (version.name for version in versions))


def write_text(path: Path, text: str) -> None:
    """Write a new text file. Raises WouldOverwrite, CannotWrite."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write a new file. Raises WouldOverwrite, CannotWrite."""
    refuse_to_overwrite(path)
    try:
        write_whole(path, data)
    except OSError as error:
        raise CannotWrite(path, error) from error
