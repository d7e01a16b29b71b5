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

BY_NAME: dict[str, Callable[..., object]] = {
    "align": telling(align_command, tables=True),
    "combine": telling(combine_command, tables=True),
    "deliver": telling(deliver_command),
    "verify": telling(verify_command, tables=True),
    "sheet": telling(sheet_command),
    "report": telling(report_command),
    "check": telling(check_command),
    "apply": telling(apply_command, tables=True),
    "batch": telling(batch_command, tables=True),
    "merge": telling(merge_command, tables=True),
    "plan": telling(plan_command, tables=True),
    "demo": telling(demo_command),
    "machine": telling(machine_command),
}
OLD_NAMES = {"doctor": "machine", "render": "deliver"}  # what scripts may still say


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


for name, command in BY_NAME.items():
    app.command(name)(command)
for old, new in OLD_NAMES.items():
    app.command(old, hidden=True)(BY_NAME[new])
