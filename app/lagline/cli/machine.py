"""`lagline machine`: what Lagline needs, what this machine has, and how to get the rest."""

from __future__ import annotations

import sys
import textwrap
from typing import TYPE_CHECKING

from lagline.cli import options

if TYPE_CHECKING:
    from lagline.cli.documents import MachineDocument
    from lagline.jobs.machine import Diagnosis

MARKS = {"good": "ok", "note": "note", "missing": "MISSING"}
WIDTH = 100


def machine_command(as_json: options.AsJson = False) -> int:
    """Look at this machine: versions, sound, window, cache; say what is missing and how to get it."""
    from lagline.cli.desk_door import window_problem
    from lagline.jobs.machine import examine

    diagnosis = examine(window_problem)
    if as_json:
        import msgspec

        document: MachineDocument = {
            "schema": "lagline/machine/1",
            "is_well": diagnosis.is_well,
            "checks": diagnosis.checks,
            "devices": diagnosis.devices,
            "cache": msgspec.to_builtins(diagnosis.cache, enc_hook=str),
        }
        sys.stdout.write(msgspec.json.format(msgspec.json.encode(document), indent=1).decode() + "\n")
    else:
        print(page(diagnosis))
    return 0 if diagnosis.is_well else 1


def page(diagnosis: Diagnosis) -> str:
    """The diagnosis as plain text, a line for each thing, the remedy under it where there is one."""
    lines: list[str] = []
    part = ""
    for check in diagnosis.checks:
        if check.part != part:
            part = check.part
            lines += ["", part.capitalize()] if lines else [part.capitalize()]
        lines.append(f"  {MARKS[check.verdict]:8}{check.name:19} {check.found}")
        if check.remedy:
            lines += textwrap.wrap(
                f"-> {check.remedy}", WIDTH, initial_indent=" " * 10, subsequent_indent=" " * 13
            )
        if check.name == "outputs":
            lines += [
                f"{'':30}{device.name}: {device.channels} channels, {device.rate_hz / 1000:g} kHz"
                + (", default" if device.is_default else "")
                for device in diagnosis.devices
            ]
    missing = [check.name for check in diagnosis.checks if check.verdict == "missing"]
    notes = [check.name for check in diagnosis.checks if check.verdict == "note"]
    if missing:
        last = f"Missing: {', '.join(missing)}. What to do stands beside it above."
    elif notes:
        last = f"Nothing is missing. Worth a look: {', '.join(notes)}."
    else:
        last = "Nothing is missing."
    return "\n".join([*lines, "", last])
