"""Progress on stderr, so that stdout holds the result and nothing else."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from lagline.cli.telling import manner
from lagline.cli.terminal import drawn_on


@contextmanager
def shown(what: str) -> Iterator[Callable[[float], None]]:
    """A bar on the terminal while the work goes on; nothing where stderr is none, or it is to be quiet.

    Gives a function to tell how far it is, 0..1.
    """
    from rich.console import Console
    from rich.progress import Progress

    console = Console(file=drawn_on(sys.stderr))
    with Progress(
        console=console,
        transient=True,
        disable=not console.is_terminal or manner().quiet,
        redirect_stdout=False,
        redirect_stderr=False,
    ) as bar:
        task = bar.add_task(what, total=1.0)
        yield lambda done: bar.update(task, completed=done)
