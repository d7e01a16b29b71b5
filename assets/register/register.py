"""What the register says, beside what the program has."""

from __future__ import annotations

import tomllib
from pathlib import Path

from assets.register.program import Names

REGISTER = Path(__file__).with_name("names.toml")
ORIGINS = ("trade", "program", "standard", "ours", "old")
# Sections whose rows also say the wording a user sees: name = ["wording", "origin"].
WORDED = ("desk",)

Rows = dict[str, dict[str, str | list[str]]]


def read_register(path: Path = REGISTER) -> Rows:
    return tomllib.loads(path.read_text("utf-8"))


def origin(row: str | list[str]) -> str:
    return row if isinstance(row, str) else row[1]


def wording(row: str | list[str]) -> str:
    return "" if isinstance(row, str) else row[0]


def differences(program: Names, rows: Rows) -> list[str]:
    """Sentences: what stands in one and not in the other, and rows without an origin."""
    said = []
    for section in sorted({*program, *rows}):
        have, told = program.get(section, {}), rows.get(section, {})
        said += [
            f"[{section}] {name!r} has no row. {row(section, name, have[name])}"
            for name in have
            if name not in told
        ]
        said += [
            f"[{section}] {name!r} is no longer in the program: take its row out"
            for name in told
            if name not in have
        ]
        said += [
            f"[{section}] {name!r} reads {have[name]!r} in the program and {wording(told[name])!r} in its row"
            for name in have
            if name in told and section in WORDED and wording(told[name]) != have[name]
        ]
    for section, names in rows.items():
        said += [
            f"[{section}] {name!r}: {problem}"
            for name, one in names.items()
            if (problem := _problem(origin(one)))
        ]
    return said


def _problem(said: str) -> str:
    kind, _, more = said.partition(":")
    if kind not in ORIGINS:
        return f"{said!r} is no origin; write one of {', '.join(ORIGINS)}"
    if kind in ("standard", "old") and not more.strip():
        return "name the standard and its clause" if kind == "standard" else "name what it is called now"
    return ""


def row(section: str, name: str, words: str) -> str:
    """A row ready to be pasted, its origin still to be thought about."""
    key = name if name.replace("_", "").replace("-", "").isalnum() and name.isascii() else f'"{name}"'
    return f'{key} = ["{words}", "?"]' if section in WORDED else f'{key} = "?"'
