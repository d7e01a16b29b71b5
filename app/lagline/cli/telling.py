"""How a command tells its results: the options that all commands share, and what obeys them.

Results go to standard output. What is told beside them goes to standard error, and is left out when the user
asks for quiet; errors never are.
"""

from __future__ import annotations

import functools
import inspect
import sys
from collections.abc import Callable
from contextvars import ContextVar
from typing import Annotated, Any, get_type_hints

import typer
from msgspec import Struct

Quiet = Annotated[
    bool, typer.Option("--quiet", "-q", help="Tell results and errors only: no notes, no progress.")
]
AsCsv = Annotated[bool, typer.Option("--csv", help="Print tables as CSV on stdout, and nothing else there.")]


class Manner(Struct):
    """How the command that runs now was asked to tell."""

    quiet: bool = False
    csv: bool = False
    tables: int = 0  # that were printed as CSV so far


_manner: ContextVar[Manner] = ContextVar("manner")


def manner() -> Manner:
    """As the user asked; as usual where no command runs."""
    return _manner.get(Manner())


def note(text: str) -> None:
    """Something worth knowing that is no result."""
    aside(f"note: {text}")


def aside(text: str) -> None:
    """A sentence beside the result, on standard error."""
    if not manner().quiet:
        print(text, file=sys.stderr)


def telling(command: Callable[..., Any], *, tables: bool = False) -> Callable[..., Any]:
    """The command with `--quiet` and, where it prints `tables`, `--csv`."""
    own = inspect.signature(command)
    more = {"quiet": Quiet} | ({"csv_tables": AsCsv} if tables else {})
    hints = get_type_hints(command, include_extras=True)

    @functools.wraps(command)
    def told(*, quiet: bool = False, csv_tables: bool = False, **given: Any) -> Any:
        if csv_tables and given.get("as_json"):
            raise typer.BadParameter("choose one of --json and --csv")
        before = _manner.set(Manner(quiet, csv_tables))
        try:
            return command(**given)
        finally:
            _manner.reset(before)

    parameters = [
        one.replace(kind=inspect.Parameter.KEYWORD_ONLY, annotation=hints[name])
        for name, one in own.parameters.items()
    ]
    parameters += [
        inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=False, annotation=annotation)
        for name, annotation in more.items()
    ]
    told.__signature__ = own.replace(parameters=parameters)  # type: ignore[attr-defined]
    told.__annotations__ = {**hints, **more}
    return told
