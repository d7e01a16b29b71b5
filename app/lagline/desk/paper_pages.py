"""A long document cut into pages of paper: between its lines, never through one, and nothing left out.

QTextDocument's own pages know no `break-after: avoid`, and drop whole blocks and tables when they are
told to begin on a new page. So it lays out one strip without an end, which is cut here.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby, pairwise
from typing import NamedTuple

from PySide6.QtCore import QRectF
from PySide6.QtGui import (
    QAbstractTextDocumentLayout,
    QImage,
    QPagedPaintDevice,
    QPainter,
    QPalette,
    QTextBlock,
    QTextCursor,
    QTextDocument,
    QTextOption,
    QTextTable,
)

DOTS_AN_INCH = 96
_INCH_M = 0.0254
_INSIDE = 0.5  # px that what is drawn keeps away from a cut, beyond which its neighbour is not drawn
_MOST_HEADINGS = 0.25  # of a page that a table's headings may take to be repeated on the next one

Slice = tuple[float, float]  # px of the strip, from and to


class Cut(NamedTuple):
    """A place between two lines where a page may end."""

    y: float  # px of the strip
    is_bad: bool = False  # what lies above belongs to what lies below
    headings: Slice | None = None  # of the table that goes on below
    tears: bool = False  # a paragraph or a row of a table


def print_document(document: QTextDocument, device: QPagedPaintDevice) -> None:
    """Print the document on the pages of a printer or a PDF, within the margins it is set to."""
    # The layout measures letters as this image has them: alike on every screen and printer.
    ruler = QImage(1, 1, QImage.Format.Format_RGB32)
    ruler.setDotsPerMeterX(round(DOTS_AN_INCH / _INCH_M))
    ruler.setDotsPerMeterY(round(DOTS_AN_INCH / _INCH_M))
    document.documentLayout().setPaintDevice(ruler)
    scale = _lay_out(document, device.width(), device.logicalDpiX() / DOTS_AN_INCH)
    painter = QPainter(device)
    try:
        painter.scale(scale, scale)
        for number, slices in enumerate(_pages_of(document, device.height() / scale)):
            if number:
                device.newPage()
            painter.save()
            for top, bottom in slices:
                _draw(document, painter, top, bottom)
                painter.translate(0.0, bottom - top)
            painter.restore()
    finally:
        painter.end()
        document.documentLayout().setPaintDevice(None)  # type: ignore[arg-type]  # as it is by itself


def _lay_out(document: QTextDocument, width: int, scale: float) -> float:
    """Make one strip of the document, as wide as the paper. Gives the paper's dots to a dot of the strip."""
    document.setUseDesignMetrics(True)
    option = QTextOption(document.defaultTextOption())
    option.setWrapMode(QTextOption.WrapMode.WrapAtWordBoundaryOrAnywhere)
    document.setDefaultTextOption(option)
    document.setTextWidth(width / scale)
    if document.size().width() > width / scale:  # a table with more columns than fit beside each other
        scale = width / document.size().width()
        document.setTextWidth(width / scale)
    return scale


def _pages_of(document: QTextDocument, height: float) -> list[list[Slice]]:
    """The pages, with the paragraphs that are longer than one parted where the pages part them: Qt draws
    the line before a cut as well, out of sight but not out of the text."""
    while True:
        places = cuts(document)
        made = pages(places, height)
        torn = {place.y for place in places if place.tears} & {slices[-1][1] for slices in made}
        if not any(_part_paragraphs(document, y) for y in sorted(torn)):
            return made


def _part_paragraphs(document: QTextDocument, y: float) -> bool:
    """Make two paragraphs of each that goes on beyond `y`, in place; whether there was one."""
    begins = []
    for block in _blocks(document):
        lines = list(_lines(document, block))
        below = next((n for n, line in enumerate(lines) if line.top > y - _INSIDE), 0)
        if below:
            begins.append(block.position() + block.layout().lineAt(below).textStart())
    for position in reversed(begins):
        cursor = QTextCursor(document)
        cursor.setPosition(position)
        above, below_it = cursor.blockFormat(), cursor.blockFormat()
        above.setBottomMargin(0.0)
        below_it.setTopMargin(0.0)
        cursor.setBlockFormat(above)
        cursor.insertBlock(below_it)
        if (items := cursor.currentList()) is not None:
            items.remove(cursor.block())
    return bool(begins)


def _draw(document: QTextDocument, painter: QPainter, top: float, bottom: float) -> None:
    """What lies between two cuts, at the painter's origin."""
    strip = QRectF(0.0, top, document.size().width(), bottom - top)
    context = QAbstractTextDocumentLayout.PaintContext()
    context.clip = strip.adjusted(0.0, _INSIDE, 0.0, -_INSIDE)
    context.palette = QPalette()
    context.palette.setColor(QPalette.ColorRole.Text, "black")
    painter.save()
    painter.translate(0.0, -top)
    painter.setClipRect(strip)
    document.documentLayout().draw(painter, context)
    painter.restore()


def pages(places: list[Cut], height: float) -> list[list[Slice]]:
    """The slices of each page: as many lines as go on it, cut where nothing is torn apart if there is such
    a place. `places`: from the strip's beginning to its end."""
    made: list[list[Slice]] = []
    at = 0
    while at < len(places) - 1:
        begin, headings = places[at], places[at].headings
        if headings is not None and headings[1] - headings[0] > _MOST_HEADINGS * height:
            headings = None
        room = height - (headings[1] - headings[0] if headings else 0.0)
        fitting = [n for n in range(at + 1, len(places)) if places[n].y - begin.y <= room] or [at + 1]
        good = [n for n in fitting if not places[n].is_bad]
        at = (good or fitting)[-1]
        made.append([*([headings] if headings else ()), (begin.y, places[at].y)])
    return made


class _Line(NamedTuple):
    top: float
    bottom: float


class _Part(NamedTuple):
    """What should stay on one page: a paragraph, or the cells of a table's row that stand side by side."""

    lines: list[_Line]
    table: int | None  # where it begins in the text
    row: int
    leads_on: bool  # of little use without the part after it
    holds_drawing: bool


def cuts(document: QTextDocument) -> list[Cut]:
    """All places between lines, with the beginning and the end. The document must be laid out."""
    parts = list(_parts(document))
    found = [Cut(0.0)]
    headings: Slice | None = None
    for part, after in zip(parts, [*parts[1:], None], strict=True):
        begin = found[-1].y
        found += [Cut((a.bottom + b.top) / 2, True, headings, True) for a, b in pairwise(part.lines)]
        if after is None:
            break
        y = (part.lines[-1].bottom + after.lines[0].top) / 2
        goes_on = part.table is not None and part.table == after.table
        is_heading_row = goes_on and part.row == 0
        if not goes_on or is_heading_row:
            headings = (begin, y) if goes_on else None
        found.append(Cut(y, part.leads_on or after.holds_drawing or is_heading_row, headings))
    found.append(Cut(document.size().height()))
    return found


def _parts(document: QTextDocument) -> Iterator[_Part]:
    for (table, row), group in groupby(_blocks(document), key=_owner):
        blocks = list(group)
        lines = _merged(line for block in blocks for line in _lines(document, block))
        is_heading = blocks[-1].blockFormat().headingLevel() > 0
        leads_on = table is None and (is_heading or blocks[-1].text().rstrip().endswith(":"))
        yield _Part(lines, table, row, leads_on, any(map(_holds_drawing, blocks)))


def _blocks(document: QTextDocument) -> Iterator[QTextBlock]:
    """Those that hold something: the empty ones around a table say that they lie where the table does."""
    block = document.begin()
    while block.isValid():
        if block.text():
            yield block
        block = block.next()


def _owner(block: QTextBlock) -> tuple[int | None, int]:
    """The table it is in and the row there; None and its own number outside of tables."""
    frame = QTextCursor(block).currentFrame()
    if isinstance(frame, QTextTable):
        return frame.firstPosition(), frame.cellAt(block.position()).row()
    return None, block.blockNumber()


def _lines(document: QTextDocument, block: QTextBlock) -> Iterator[_Line]:
    place, layout = document.documentLayout().blockBoundingRect(block), block.layout()
    for number in range(layout.lineCount()):
        line = layout.lineAt(number)
        yield _Line(place.top() + line.y(), place.top() + line.y() + line.height())


def _merged(lines: Iterator[_Line]) -> list[_Line]:
    """From top to bottom; lines of cells side by side that overlap are one."""
    merged: list[_Line] = []
    for line in sorted(lines):
        if merged and line.top < merged[-1].bottom - _INSIDE:
            merged[-1] = _Line(merged[-1].top, max(merged[-1].bottom, line.bottom))
        else:
            merged.append(line)
    return merged


def _holds_drawing(block: QTextBlock) -> bool:
    return "\N{OBJECT REPLACEMENT CHARACTER}" in block.text()
