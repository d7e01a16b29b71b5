"""The names of the commands, for those who must know them without loading the commands."""

from __future__ import annotations

COMMANDS = frozenset(
    {
        "align",
        "combine",
        "deliver",
        "render",  # the old name of deliver
        "verify",
        "sheet",
        "report",
        "check",
        "apply",
        "batch",
        "merge",
        "plan",
        "demo",
        "machine",
        "doctor",  # the old name of machine
    }
)
