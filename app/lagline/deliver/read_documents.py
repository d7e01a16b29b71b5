"""The documents of a delivery, read back: does every lane stand in them, with its figure?"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Iterable, Iterator
from html.parser import HTMLParser
from pathlib import Path

from msgspec.structs import replace

from lagline.deliver.delivered import DeliveredFile
from lagline.errors import CannotWrite

_BUNDLED = "content.otio"
_NEAR = ".{0,200}?"


def read_back(file: DeliveredFile, path: Path, told: Iterable[tuple[str, ...]]) -> DeliveredFile:
    """The file with what was checked. `told` : words that must stand in the text, those of a row near each
    other and in order.

    A PDF is made of the page beside it and not read. Raises CannotWrite.
    """
    if path.suffix == ".pdf":
        return file
    try:
        words = _squeezed(" ".join(_words(path)))
    except (OSError, ValueError, csv.Error, zipfile.BadZipFile) as error:
        raise CannotWrite(path, f"it does not read back: {error}") from error
    rows = list(told)
    for row in rows:
        if not re.search(_NEAR.join(re.escape(_squeezed(word)) for word in row), words):
            raise CannotWrite(path, f"read back, it lacks {', '.join(row)}")
    return replace(file, checked=("text",)) if rows else file


def _words(path: Path) -> Iterator[str]:
    """All that a reader of the document sees. Raises OSError, ValueError, csv.Error, BadZipFile."""
    if path.suffix == ".otioz":
        with zipfile.ZipFile(path) as bundle:
            damaged = bundle.testzip()
            if damaged is not None:
                raise zipfile.BadZipFile(f"{damaged} in it is damaged")
            yield from _json_words(json.loads(bundle.read(_BUNDLED)))
        return
    text = path.read_bytes().decode("utf-8")
    if path.suffix == ".otio":
        yield from _json_words(json.loads(text))
    elif path.suffix == ".html":
        page = _Page()
        page.feed(text)
        page.close()
        yield from page.words
    elif path.suffix == ".csv":
        for row in csv.reader(io.StringIO(text), strict=True):
            yield from row
    else:
        yield text


def _json_words(value: object) -> Iterator[str]:
    if isinstance(value, dict):
        for inner in value.values():
            yield from _json_words(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _json_words(inner)
    else:
        yield str(value)


class _Page(HTMLParser):
    """The words of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def _squeezed(text: str) -> str:
    return " ".join(text.split())
