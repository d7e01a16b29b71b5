"""A desk that only notes what it was asked for."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path


class NotedDesk:
    def __init__(self) -> None:
        self.opened: list[list[Path]] = []
        self.measured = False
        self.pictures: list[tuple[Path, bool]] = []
        self.pages: list[str] = []

    def open(self, paths: Sequence[Path], *, measure: bool = False) -> int:
        self.opened.append(list(paths))
        self.measured = measure
        return 0

    def picture(self, session: Path, png: Path, width: int, height: int, dark: bool) -> None:
        self.pictures.append((png, dark))
        png.write_bytes(b"\x89PNG")

    def paper(self, page: str) -> bytes:
        self.pages.append(page)
        return b"%PDF-1.4"
