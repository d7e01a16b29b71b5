"""Compares the register of names with the program; ends with 1 and a sentence a difference.

python -m assets.register             from the top of the checkout
python -m assets.register --page      the register as a page in Markdown, on standard output
"""

from __future__ import annotations

import sys

from assets.register.program import names
from assets.register.register import differences, origin, read_register, wording

HEADINGS = {
    "commands": "Commands of the command line",
    "options": "Options of the command line",
    "menus": "Menus of the desk",
    "desk": "Commands of the desk",
    "tabs": "Tabs",
    "states": "States and choices",
    "suffixes": "Endings of file names",
    "schemas": "Schemas",
    "keys": "Keys in files",
}


def page() -> str:
    lines = ["# Register of names", "", "Every name a user meets, and where it is from.", ""]
    for section, rows in read_register().items():
        lines += [f"## {HEADINGS[section]}", "", "| name | wording | origin |", "|---|---|---|"]
        lines += [f"| `{name}` | {wording(row)} | {origin(row)} |" for name, row in rows.items()] + [""]
    return "\n".join(lines)


def main() -> int:
    if "--page" in sys.argv[1:]:
        print(page())
        return 0
    said = differences(names(), read_register())
    for sentence in said:
        print(f"register: {sentence}")
    print(f"register: {len(said)} differences" if said else "register: every name has its origin")
    return 1 if said else 0


if __name__ == "__main__":
    raise SystemExit(main())
