"""The plan on paper: drawing and tables, to pin to a microphone stand."""

from __future__ import annotations

import html
from collections.abc import Sequence

from PySide6.QtCore import QMarginsF, QUrl
from PySide6.QtGui import QFont, QImage, QPageLayout, QPainter, QTextDocument
from PySide6.QtPrintSupport import QPrinter

from lagline.desk.paper_pages import DOTS_AN_INCH, print_document
from lagline.desk.planner.figures import (
    ARRIVAL_HEADINGS,
    PAIR_HEADINGS,
    Rows,
    air_text,
    arrival_rows,
    dips_text,
    levels_text,
    pair_rows,
)
from lagline.desk.planner.plan_drawing import draw_plan, lines_foot_px
from lagline.desk.planner.plan_view import SOURCE, marker_m
from lagline.desk.planner.view_scale import ViewScale
from lagline.desk.theme import LIGHT
from lagline.jobs.plan import blend_dips
from lagline.session.plan import Plan

WIDTH_PX, HEIGHT_PX, SHARPER = 660, 370, 4  # of the drawing; narrower paper makes it smaller
EDGE_PX = 4.0
PICTURE = QUrl("plan.png")
LINE = "\n"  # a break within a cell, for narrow windows only


def plan_picture(
    plan: Plan, width_px: int = WIDTH_PX, height_px: int = HEIGHT_PX, sharper: int = SHARPER
) -> QImage:
    """The plan seen from above, on light ground, everything in view."""
    markers = {SOURCE: (plan.source_m[0], plan.source_m[1])}
    for lane in plan.lanes:
        at = marker_m(plan, lane)
        if at is not None:
            markers[lane.name] = at
    image = QImage(width_px * sharper, height_px * sharper, QImage.Format.Format_RGB32)
    image.fill(0xFFFFFFFF)
    painter = QPainter(image)
    painter.scale(sharper, sharper)
    font = QFont()
    scale = ViewScale(width_px=width_px, height_px=height_px).fitted(
        markers.values(), lines_foot_px(plan, font)
    )
    draw_plan(painter, scale, plan, markers, LIGHT, font)
    painter.end()
    return image


def plan_document(plan: Plan, page_width_px: float = WIDTH_PX) -> QTextDocument:
    """Drawing, arrivals and pairs as one document for paper of that width within its margins."""
    width = min(WIDTH_PX, int(page_width_px))
    height = HEIGHT_PX * width // WIDTH_PX
    document = QTextDocument()
    document.addResource(QTextDocument.ResourceType.ImageResource, PICTURE, plan_picture(plan))
    notes = f"<p>{html.escape(plan.notes)}</p>" if plan.notes else ""
    document.setHtml(
        f"<h2>{html.escape(plan.name)}</h2><p>{html.escape(air_text(plan))}</p>"
        f'<p><img src="{PICTURE.toString()}" width="{width}" height="{height}"></p>'
        f"<h3>Arrivals</h3>{_table(ARRIVAL_HEADINGS, arrival_rows(plan))}"
        "<h3>Pairs</h3>"
        f"{_table(PAIR_HEADINGS, pair_rows(plan))}<p>{html.escape(levels_text(plan))}</p>"
        f"<p>{html.escape(dips_text(plan, blend_dips(plan)))}</p>{notes}"
        "<p>Straight ways through still air from one small source; rooms and large instruments add to it.</p>"
    )
    return document


def print_plan(plan: Plan, printer: QPrinter) -> None:
    """Print on a printer, or into the file it is set to."""
    printer.setPageMargins(QMarginsF(15, 15, 15, 15), QPageLayout.Unit.Millimeter)
    document = plan_document(plan, printer.width() * DOTS_AN_INCH / printer.logicalDpiX() - 2 * EDGE_PX)
    document.setDocumentMargin(EDGE_PX)
    print_document(document, printer)


def _table(headings: Sequence[str], rows: Rows) -> str:
    head = "".join(f'<th align="left">{html.escape(text)}</th>' for text in headings)
    body = "".join(
        "<tr>" + "".join(f"<td>{html.escape(cell.replace(LINE, ', '))}</td>" for cell in cells) + "</tr>"
        for cells in rows
    )
    style = 'border="1" cellspacing="0" cellpadding="3" style="font-size: 8pt"'
    return f"<table {style}><tr>{head}</tr>{body}</table>"
