"""File names from a template: safe on every system, each one only once."""

from __future__ import annotations

import string
from collections.abc import Iterable, Mapping

from lagline.errors import BadNameTemplate

FIELDS = ("take", "lane", "version", "n")  # n: the lane's number in the session, from 1
LONGEST_BYTES = 160  # in UTF-8, without the suffix; file systems allow 255, temporary names are longer
_FORBIDDEN = '<>:"/\\|?*'  # on Windows; "/" everywhere
# Device names of Windows, with any suffix.
_RESERVED = {"con", "prn", "aux", "nul"} | {f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10)}


def file_stem(template: str, values: Mapping[str, str | int]) -> str:
    """The template with its fields filled in, made a safe file name (without suffix).

    Raises BadNameTemplate.
    """
    pieces: list[str] = []
    try:
        parts = list(string.Formatter().parse(template))
    except ValueError as error:
        raise BadNameTemplate(template, FIELDS) from error
    for text, field, form, conversion in parts:
        pieces.append(text)
        if field is None:
            continue
        if field not in values or conversion:
            raise BadNameTemplate(template, FIELDS)
        value = values[field]
        try:
            # What comes from a name must not make folders, so it is cleaned before it goes in.
            pieces.append(format(value, form or "") if isinstance(value, int) else _clean(value))
        except ValueError as error:
            raise BadNameTemplate(template, FIELDS) from error
    return safe_stem("".join(pieces))


def safe_stem(name: str) -> str:
    """A name that can be a file's on any system; "untitled" where nothing is left of it."""
    short = _clean(name).encode("utf-8", "replace")[:LONGEST_BYTES].decode("utf-8", "ignore")
    cleaned = short.strip(" .") or "untitled"
    return f"{cleaned}_" if cleaned.split(".")[0].casefold() in _RESERVED else cleaned


def unique(stems: Iterable[str]) -> list[str]:
    """The stems in order, " (2)", " (3)" ... after those that came before; capitals do not tell apart."""
    taken: set[str] = set()
    result: list[str] = []
    for stem in stems:
        name, number = stem, 1
        while name.casefold() in taken:
            number += 1
            name = f"{stem} ({number})"
        taken.add(name.casefold())
        result.append(name)
    return result


def _clean(text: str) -> str:
    kept = ("-" if letter in _FORBIDDEN else letter for letter in " ".join(text.split()))
    return " ".join("".join(letter for letter in kept if letter.isprintable()).split())
