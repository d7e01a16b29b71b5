"""The outermost door of the command line: exit codes, and no traceback ever reaches a user."""

from __future__ import annotations

import difflib
import logging
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import cast

from lagline.cli.command_names import COMMANDS
from lagline.cli.desk_door import DeskDoor, missing_display
from lagline.cli.stopping import Heard, stopped_by_signals
from lagline.cli.terminal import plain_output
from lagline.errors import FileMissing, LaglineError
from lagline.files import is_there

COMPLETION = "_LAGLINE_COMPLETE"  # click's convention: the program's name between underscores
DONE, INPUT_ERROR, USAGE_ERROR = 0, 1, 2
_TYPERS_INTERRUPTED = 130


def run(arguments: Sequence[str], desk: DeskDoor) -> int:
    """Run a command, or open the desk when the first word is not one.

    Returns 0 done, 1 a clear error about the input, 2 wrong usage, 128 + its number when a signal stopped it.
    """
    completes = COMPLETION in os.environ  # a shell asks what could come next
    if not completes and (
        not arguments or (arguments[0] not in COMMANDS and not arguments[0].startswith("-"))
    ):
        with plain_output():
            return _answered(arguments, lambda: _open_desk(arguments, desk), Heard())
    with plain_output(), stopped_by_signals() as heard:
        return _answered(arguments, lambda: _run_command(arguments, desk), heard)


def _answered(arguments: Sequence[str], work: Callable[[], int], heard: Heard) -> int:
    """Do it; whatever goes wrong becomes a sentence and an exit code."""
    try:
        return work()
    except LaglineError as error:
        print(f"lagline: {error}", file=sys.stderr)
        return INPUT_ERROR
    except KeyboardInterrupt:
        print("lagline: stopped; nothing half-written was left.", file=sys.stderr)
        return heard.exit_code
    except BrokenPipeError:
        sys.stderr.close()  # the reader of our output has gone: nobody is left to tell
        return INPUT_ERROR
    except Exception as error:  # noqa: BLE001 - the last net: the user gets a sentence, the log the details
        print(
            f"lagline: something went wrong inside Lagline ({type(error).__name__}: {error}).",
            file=sys.stderr,
        )
        print(_logged(arguments), file=sys.stderr)
        return INPUT_ERROR


def _run_command(arguments: Sequence[str], desk: DeskDoor) -> int:
    import typer  # takes a tenth of a second, which the desk's start can do without

    from lagline.cli.app import app

    # typer took click's exceptions into itself in 0.26: through its own BadParameter both kinds are reached.
    usage_error = cast(type[Exception], typer.BadParameter.__mro__[1])
    command_line_error = cast(type[typer.BadParameter], typer.BadParameter.__mro__[2])
    try:
        result = app(list(arguments), prog_name="lagline", obj=desk, standalone_mode=False)
        if result == _TYPERS_INTERRUPTED:  # typer makes an exit code of Ctrl+C, and says nothing
            raise KeyboardInterrupt
        return result if isinstance(result, int) else DONE
    except typer.Exit as leaving:
        return leaving.exit_code
    except command_line_error as error:
        error.show()
        return USAGE_ERROR if isinstance(error, usage_error) else INPUT_ERROR
    except typer.Abort as abort:
        raise KeyboardInterrupt from abort


def _open_desk(arguments: Sequence[str], desk: DeskDoor) -> int:
    paths = [Path(argument) for argument in arguments]
    for path in paths:
        if not is_there(path) and path.name == str(path) and not path.suffix:
            near = difflib.get_close_matches(str(path), COMMANDS, n=1)
            hint = f" Did you mean lagline {near[0]}?" if near else " See lagline --help."
            print(f"lagline: there is no command and no file called {str(path)!r}.{hint}", file=sys.stderr)
            return USAGE_ERROR
        if not is_there(path):
            raise FileMissing(path)
    problem = missing_display()
    if problem:
        print(
            f"lagline: the desk cannot open a window ({problem}). "
            f"Without a display use the commands: lagline --help, or try lagline demo.",
            file=sys.stderr,
        )
        return INPUT_ERROR
    return desk.open(paths)


def _logged(arguments: Sequence[str]) -> str:
    """Keep the details of a fault of ours in the log; a sentence that tells where."""
    from lagline.log import keep_log, stop_log

    try:
        log = keep_log("command-line")
    except OSError as error:
        return f"No log could be kept ({error.strerror}): please report what you did and the line above."
    logging.getLogger(__name__).exception("lagline %s", " ".join(arguments))
    stop_log()
    return f"The details are in {log}: please send them with a report."
