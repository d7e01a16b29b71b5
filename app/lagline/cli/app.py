"""The commands by name. Each lives in a file of its own and imports what it needs when it runs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

import typer

from lagline import __version__
from lagline.cli.align import align_command
from lagline.cli.apply import apply_command
from lagline.cli.batch import batch_command, merge_command
from lagline.cli.check import check_command
from lagline.cli.combine import combine_command
from lagline.cli.deliver import deliver_command
from lagline.cli.demo import demo_command
from lagline.cli.machine import machine_command
from lagline.cli.plan import plan_command
from lagline.cli.report import report_command
from lagline.cli.sheet import sheet_command
from lagline.cli.telling import telling
from lagline.cli.verify import verify_command

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Line up several recordings of one performance. "
    "Without a command, `lagline [FILE...]` opens the desk.",
)

OLD_NAMES: dict[str, Callable[..., object]] = {"doctor": machine_command, "render": deliver_command}


def _print_version(wanted: bool) -> None:
    if wanted:
        print(f"lagline {__version__}")
        raise typer.Exit


@app.callback()
def options(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version.", callback=_print_version, is_eager=True)
    ] = False,
) -> None:
    """Options of `lagline` itself, before any command."""


app.command("align")(telling(align_command, tables=True))
app.command("combine")(telling(combine_command, tables=True))
app.command("deliver")(telling(deliver_command))
app.command("verify")(telling(verify_command, tables=True))
app.command("sheet")(telling(sheet_command))
app.command("report")(telling(report_command))
app.command("check")(telling(check_command))
app.command("apply")(telling(apply_command, tables=True))
app.command("batch")(telling(batch_command, tables=True))
app.command("merge")(telling(merge_command, tables=True))
app.command("plan")(telling(plan_command, tables=True))
app.command("demo")(telling(demo_command))
app.command("machine")(telling(machine_command))

for old, command in OLD_NAMES.items():  # what scripts may still say
    app.command(old, hidden=True)(telling(command))
