"""Cells of a table that are there when they are asked for."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtWidgets import QTableWidget, QTableWidgetItem


def cell(table: QTableWidget, row: int, column: int) -> QTableWidgetItem:
    """The item there, made first where there is none."""
    item = table.item(row, column)
    if item is None:
        item = QTableWidgetItem()
        table.setItem(row, column, item)
    return item


def set_headings(table: QTableWidget, texts: Sequence[str], tips: Sequence[str]) -> None:
    """Headings with a tooltip each."""
    for column, (text, tip) in enumerate(zip(texts, tips, strict=True)):
        item = QTableWidgetItem(text)
        item.setToolTip(tip)
        table.setHorizontalHeaderItem(column, item)
