"""The report as a PDF: the same page, laid out by Qt, which brings its own fonts for every script."""

from __future__ import annotations

import os
import re
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context

from PySide6.QtCore import QBuffer, QByteArray, QCoreApplication, QIODevice, QMarginsF, Qt, QUrl
from PySide6.QtGui import QGuiApplication, QImage, QPageLayout, QPageSize, QPainter, QPdfWriter, QTextDocument
from PySide6.QtSvg import QSvgRenderer

from lagline.desk.paper_pages import print_document

_SVG = re.compile(r"<svg\b.*?</svg>", re.DOTALL)
_STYLE = re.compile(r"<style>.*?</style>", re.DOTALL)
# What QTextDocument knows of CSS; the page's own style asks for more.
_PRINT_STYLE = """<style>
body { font-family: sans-serif; font-size: 9pt; color: #000; }
h1 { font-size: 16pt; } h2 { font-size: 12pt; } h3 { font-size: 10pt; }
table { border-collapse: collapse; margin-top: 4px; margin-bottom: 4px; }
th { background-color: #eee; } th, td { border: 1px solid #888; padding: 2px; font-size: 8pt; }
.small { font-size: 8pt; }
</style>"""
_SHARPNESS = 3  # pixels of a drawing per unit of the page
_DRAWING_SCALE = 0.9
_MARGIN_MM = 12.0


def pdf_without_window(html: str) -> bytes:
    """`report_pdf` for the command line, where no application runs and no display need be."""
    if QCoreApplication.instance() is None:
        os.environ["QT_QPA_PLATFORM"] = "offscreen"
    application = QCoreApplication.instance() or QGuiApplication(["lagline"])
    try:
        return report_pdf(html)
    finally:
        del application  # it had to last until here


def pdf_beside(html: str) -> bytes:
    """`report_pdf` in a process of its own, for a thread of the desk.

    Qt holds the interpreter to itself while it paints the drawings: a third of a second, in which
    a window could do nothing.
    """
    try:
        with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
            return pool.submit(pdf_without_window, html).result()
    except BrokenProcessPool:  # it was ended from outside: a window that waits is better than no report
        return report_pdf(html)


def report_pdf(html: str) -> bytes:
    """A page of `lagline.deliver` (report, delay sheet) as a PDF of A4 pages. Needs a QGuiApplication."""
    document = paper_document(html)
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    writer = QPdfWriter(buffer)
    writer.setPageSize(QPageSize(QPageSize.PageSizeId.A4))
    margins = QMarginsF(_MARGIN_MM, _MARGIN_MM, _MARGIN_MM, _MARGIN_MM)
    writer.setPageMargins(margins, QPageLayout.Unit.Millimeter)
    writer.setTitle(document.metaInformation(QTextDocument.MetaInformation.DocumentTitle))
    print_document(document, writer)
    buffer.close()
    return bytes(buffer.data().data())


def paper_document(html: str) -> QTextDocument:
    """A page of `lagline.deliver` for Qt to print: with a style that Qt knows, and drawings as images."""
    document = QTextDocument()
    document.setHtml(_with_images(document, _STYLE.sub(lambda _: _PRINT_STYLE, html)))
    return document


def _with_images(document: QTextDocument, html: str) -> str:
    """The page with its drawings as images: QTextDocument draws no SVG of its own."""
    count = 0

    def image(found: re.Match[str]) -> str:
        nonlocal count
        count += 1
        name = f"drawing-{count}"
        renderer = QSvgRenderer(QByteArray(found.group(0).encode("utf-8")))
        size = renderer.defaultSize()
        pixels = QImage(size * _SHARPNESS, QImage.Format.Format_RGB32)
        pixels.fill(Qt.GlobalColor.white)
        painter = QPainter(pixels)
        renderer.render(painter)
        painter.end()
        document.addResource(QTextDocument.ResourceType.ImageResource, QUrl(name), pixels)
        width, height = (round(_DRAWING_SCALE * side) for side in (size.width(), size.height()))
        return f'<img src="{name}" width="{width}" height="{height}">'

    return _SVG.sub(image, html)
