"""The one way to the terminal. Names of files and lanes come from anybody, and may hold escape sequences that
clear the screen, rename the window or type for the user: they are shown as what they are, never sent.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO, cast

# C0, DEL and C1 but line ends and tabs; written as JSON writes them, so that JSON stays whole too.
_SHOWN = {code: f"\\u{code:04x}" for code in (*range(0x20), *range(0x7F, 0xA0)) if chr(code) not in "\n\t"}


def plain(text: str) -> str:
    """The text with every control character in it spelt out; line ends and tabs stay."""
    return text.translate(_SHOWN)


class _PlainStream:
    """A stream that writes plain text. Not to be had: the bytes below it."""

    def __init__(self, raw: TextIO) -> None:
        self.raw = raw
        self.buffer = None

    def write(self, text: str) -> int:
        self.raw.write(plain(text))
        return len(text)

    def writelines(self, lines: list[str]) -> None:
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> object:
        return getattr(self.raw, name)


@contextmanager
def plain_output() -> Iterator[None]:
    """Within the block all that is printed, on both streams, is plain."""
    before = sys.stdout, sys.stderr
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # names of files need not be text
    # A program without a console (the desk of the bundle on Windows) has no streams at all.
    sys.stdout, sys.stderr = (stream and cast(TextIO, _PlainStream(stream)) for stream in before)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


def write_csv(text: str) -> None:
    """CSV on standard output: the carriage returns that end its lines get through, others are shown."""
    lines = plain(text.replace("\r\n", "\n"))
    drawn_on(sys.stdout).write(lines if os.linesep == "\r\n" else lines.replace("\n", "\r\n"))


def drawn_on(stream: object) -> TextIO:
    """The stream itself, for tables and bars whose own escape sequences must get through.

    Whoever writes to it passes every text that is not its own through `plain`.
    """
    return cast(TextIO, stream.raw if isinstance(stream, _PlainStream) else stream)
