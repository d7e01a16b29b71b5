"""`lagline plan`: from distances to arrivals and notches, before anything is recorded."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from msgspec.structs import replace

from lagline.cli import options
from lagline.cli.telling import aside, note
from lagline.files import is_there
from lagline.session.plan import Plan

if TYPE_CHECKING:
    from lagline.jobs.tape_measure import Comparison

Lanes = Annotated[
    list[str],
    typer.Argument(
        help="Lanes as NAME=DISTANCE (m, cm, ft, in), NAME=LATENCY (ms, samples) for a direct line, both as "
        "NAME=2m+3.1ms, or NAME=X,Y,Z for a place in metres; @DB for its level in the blend. "
        "Or a plan file, alone or before further lanes.",
        metavar="LANE...",
        show_default=False,
    ),
]
Source = Annotated[str | None, typer.Option(help="Place of the source: X,Y,Z in metres.", metavar="X,Y,Z")]
TemperatureC = Annotated[
    float | None,
    typer.Option(help="Air temperature in degrees C [default: 20].", min=-60.0, max=60.0, show_default=False),
]
Humidity = Annotated[
    float | None,
    typer.Option(help="Relative humidity in % [default: 50].", min=0.0, max=100.0, show_default=False),
]
Rate = Annotated[
    int | None,
    typer.Option(help="Rate in Hz [default: 48000].", min=8000, max=768_000, show_default=False),
]
Anchor = Annotated[
    str | None,
    typer.Option(help="Measure against this lane, or 'latest' [default: latest].", show_default=False),
]
Inverted = Annotated[
    list[str] | None, typer.Option(help="This lane is inverted. May be repeated.", metavar="NAME")
]
Notch = Annotated[
    list[str] | None,
    typer.Option(
        help="How far must lane NAME move for its first notch with OTHER to lie at HZ? May be repeated.",
        metavar="NAME:OTHER@HZ",
    ),
]
Against = Annotated[
    list[Path] | None,
    typer.Option(
        help="Compare with a take: a session file with findings, or recordings to measure. May be repeated.",
        metavar="FILE",
    ),
]
Save = Annotated[Path | None, typer.Option(help="Save the plan (NAME.lagline-plan).", metavar="PLAN")]
SetupOut = Annotated[
    Path | None,
    typer.Option(
        "--setup", help="Save a setup to start the take with (NAME.lagline-setup).", metavar="SETUP"
    ),
]


def plan_command(
    lanes: Lanes,
    source: Source = None,
    temperature_c: TemperatureC = None,
    humidity: Humidity = None,
    rate: Rate = None,
    anchor: Anchor = None,
    inverted: Inverted = None,
    notch: Notch = None,
    against: Against = None,
    save: Save = None,
    setup: SetupOut = None,
    as_json: options.AsJson = False,
) -> None:
    """Predict arrivals, notches and ripple from distances, a direct line's latency and the air."""
    from lagline.cli import plan_report
    from lagline.cli.plan_words import notch_wish
    from lagline.jobs import plan as jobs
    from lagline.session.plan import save_plan
    from lagline.session.setup import save_setup

    plan = _plan(lanes, source, temperature_c, humidity, rate, anchor, inverted or ())
    wishes = [notch_wish(text, plan) for text in notch or ()]
    moves = [(wish, jobs.moves_for_notch(plan, *wish)) for wish in wishes]
    comparisons = _compared(plan, against) if against else None
    for path in (save, setup):
        if path is not None:
            options.refuse_to_overwrite(path)
    if save is not None:
        save_plan(plan, save)
        aside(f"{save} holds the plan; lagline plan {save} shows it again.")
    if setup is not None:
        save_setup(jobs.setup_of_plan(plan), setup)
        aside(f"{setup} holds the planned shifts; lagline apply {setup} TAKE puts them on a take.")
    if as_json:
        import msgspec

        document = plan_report.document(plan, moves, comparisons)
        sys.stdout.write(msgspec.json.format(msgspec.json.encode(document), indent=1).decode() + "\n")
    else:
        plan_report.show(plan, moves, comparisons)


def _plan(
    words: Sequence[str],
    source: str | None,
    temperature_c: float | None,
    humidity: float | None,
    rate: int | None,
    anchor: str | None,
    inverted: Sequence[str],
) -> Plan:
    """The plan of a command line: a file's, or a new one, with what was typed over it."""
    from lagline.cli.plan_words import planned_lane, point
    from lagline.session.plan import LATEST, load_plan, problem, with_planned_lane

    words = list(words)
    plan = load_plan(Path(words.pop(0))) if _names_a_file(words[0]) else Plan(name="Typed plan")
    typed = {
        "source_m": None if source is None else point(source),
        "temperature_c": temperature_c,
        "humidity_percent": humidity,
        "rate_hz": rate,
    }
    plan = replace(plan, **{name: value for name, value in typed.items() if value is not None})
    try:
        for word in words:
            lane = planned_lane(word, plan.rate_hz)
            known = any(old.name.casefold() == lane.name.casefold() for old in plan.lanes)
            plan = with_planned_lane(plan, lane, lane.name if known else None)
        for name in inverted:
            plan = with_planned_lane(plan, replace(plan.lane(name), polarity=-1), name)
    except ValueError as error:
        raise typer.BadParameter(str(error)) from error
    if anchor is not None:
        plan = replace(plan, anchor=LATEST if anchor == LATEST else plan.lane(anchor).name)
    wrong = problem(plan)
    if wrong:
        raise typer.BadParameter(wrong)
    return plan


def _names_a_file(word: str) -> bool:
    """Whether a first word is meant as a plan file: a lane has an equals sign, and a file an ending."""
    return "=" not in word and (bool(Path(word).suffix) or is_there(Path(word)))


def _compared(plan: Plan, files: Sequence[Path]) -> tuple[Comparison, ...]:
    """The plan against a session's findings, or against recordings measured now."""
    from lagline.cli import progress
    from lagline.jobs.line_up import line_up
    from lagline.jobs.open_take import open_take
    from lagline.jobs.tape_measure import tape_against_sound
    from lagline.session.storage import SUFFIX, load

    if len(files) == 1 and files[0].suffix == SUFFIX:
        session = load(files[0])
    else:
        take = open_take(files, temperature_c=plan.temperature_c)
        for problem in take.problems:
            note(problem)
        session = take.session
    alignment = session.alignment
    if alignment is None:
        with progress.shown("Measuring") as tell:
            alignment = line_up(session, progress=tell)
    return tape_against_sound(plan, session, alignment)
