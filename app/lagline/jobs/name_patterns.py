"""How file names tell takes apart: a pattern such as `{take}_{lane}`, and how to read it best."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

from lagline.errors import BadPattern

Reading = Mapping[str, tuple[str, str]]  # take and lane by the name without ending; others do not match

_FIELDS = ("{take}", "{lane}")
_SIDES = frozenset({"l", "r", "m", "s", "left", "right", "mid", "side"})


def pattern_regex(pattern: str) -> re.Pattern[str]:
    """A file-name pattern such as `{take}_{lane}` as a regular expression over the name without ending.

    `{take}` takes as much as it can, `{lane}` the rest, `*` anything. Raises BadPattern unless both are
    there once.
    """
    if any(pattern.count(field) != 1 for field in _FIELDS):
        raise BadPattern(pattern)
    words = {"{take}": "(?P<take>.+)", "{lane}": "(?P<lane>.+)", "*": ".*"}
    parts = re.split(r"(\{take\}|\{lane\}|\*)", pattern)
    return re.compile("".join(words.get(part, re.escape(part)) for part in parts), re.IGNORECASE)


def best_reading(names: Sequence[str], pattern: str) -> Reading:
    """Which take and lane each name (without ending) stands for.

    `one_near_left` may be the lane "left" of "one_near" or the lane "near_left" of "one". Where the pattern
    leaves that open, the names of a folder are read alike, with as many words in every take or in every lane,
    so that every take has every lane, as far as that can be. Of equals the one with the longest take names
    holds; several takes of more lanes than sides (left, right) come before that. Raises BadPattern.
    """
    readings: list[Reading] = [{name: both for name in names if (both := _plain(name, pattern))}]
    separator = _separator(pattern)
    if separator:
        readings += _readings(readings[0], separator, pattern)
    return max(readings, key=_fitness)


def number_reading(names: Sequence[str]) -> Reading:
    """Which take and lane each name (without ending, folders allowed before it) stands for, when the take is
    a number in it: `snare_03` is the lane "snare_" of "Take 3".

    Of the numbers in a name the take's is the one that fills the table of takes and lanes best; of equals the
    one after the word "take", then the last one. Names without a number are left out.
    """
    readings = []
    for place in ("take", *range(-1, -4, -1), *range(3)):
        reading = {}
        for name in names:
            number = _number(name, place)
            if number is not None:
                reading[name] = (
                    f"Take {int(number[0])}",
                    name[: number.start()] + "#" + name[number.end() :],
                )
        readings.append(reading)
    return max(readings, key=lambda reading: (len(reading) == len(names), *_fitness(reading)[:2]))


def _number(name: str, place: str | int) -> re.Match[str] | None:
    """The number in a name's last part: after the word "take", or at that place (below 0: from the end)."""
    begin = name.rfind("/") + 1
    if place == "take":
        marked = re.compile(r"(?<![a-z])(?:take|tk|t)[ _.-]*(\d+)", re.IGNORECASE).search(name, begin)
        return marked and re.compile(r"\d+").match(name, marked.start(1))
    numbers = [*re.compile(r"\d+", re.ASCII).finditer(name, begin)]
    return numbers[place] if -len(numbers) <= place < len(numbers) else None  # type: ignore[operator,index]


def _plain(name: str, pattern: str) -> tuple[str, str] | None:
    found = pattern_regex(pattern).fullmatch(name)
    return (found["take"], found["lane"]) if found else None


def _separator(pattern: str) -> str:
    """What stands between the two fields, where that is plain text; empty where it is not."""
    between = re.search(r"\{take\}(.*?)\{lane\}|\{lane\}(.*?)\{take\}", pattern)
    text = (between[1] or between[2] or "") if between else ""
    return "" if "*" in text else text


def _readings(plain: Reading, separator: str, pattern: str) -> Iterator[Reading]:
    """Every way to cut all names after as many words from the front, or from the back."""
    takes_first = pattern.index("{take}") < pattern.index("{lane}")
    words = {
        name: re.split(re.escape(separator), separator.join(both if takes_first else both[::-1]), flags=re.I)
        for name, both in plain.items()
    }
    for count in range(1, max((len(parts) for parts in words.values()), default=1)):
        for from_back in (False, True):
            reading = {}
            for name, parts in words.items():
                cut = len(parts) - count if from_back else count
                cut = min(max(cut, 1), len(parts) - 1)
                front, back = separator.join(parts[:cut]), separator.join(parts[cut:])
                reading[name] = (front, back) if takes_first else (back, front)
            yield reading


def _fitness(reading: Reading) -> tuple[float, bool, int]:
    """How much of the table of takes and lanes is filled; whether it is one; the length of take names."""
    takes = {take.casefold() for take, _ in reading.values()}
    lanes = {lane.casefold() for _, lane in reading.values()}
    filled = len(reading) / max(1, len(takes) * len(lanes))
    return filled, len(takes) > 1 and not lanes <= _SIDES, sum(len(take) for take, _ in reading.values())
