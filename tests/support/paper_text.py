"""The text of a page and of the paper it was printed on, to be compared letter for letter."""

from __future__ import annotations

import html
import io
import re
import unicodedata

from pypdf import PdfReader

_UNSEEN = re.compile(r"<(style|svg|script|title)\b.*?</\1>", re.DOTALL)
_TAG = re.compile(r"<[^>]+>")
_HEADINGS = re.compile(r'<tr[^>]*>(?:\s*<th(?! scope="row")[^>]*>[^<]*</th>)+\s*</tr>')


def bare(text: str) -> str:
    """Without white space and bullets, letters in their plain form (fonts join some)."""
    return re.sub(r"[\s•\ufffc]+", "", unicodedata.normalize("NFKC", text))


def page_text(page: str) -> str:
    return bare(html.unescape(_TAG.sub(" ", _UNSEEN.sub(" ", page))))


def paper_texts(pdf: bytes) -> list[str]:
    """Of each sheet of paper, in the order it was printed in."""
    return [bare(sheet.extract_text()) for sheet in PdfReader(io.BytesIO(pdf)).pages]


def assert_nothing_lost(page: str, pdf: bytes) -> None:
    """The paper holds the page's text, all of it in its order and nothing else, but for the headings of a
    table that goes on on the next sheet."""
    assert_all_there(page_text(page), pdf, [page_text(row) for row in _HEADINGS.findall(page)])


def assert_all_there(text: str, pdf: bytes, headings: list[str]) -> None:
    """`text` and `headings` as `bare`."""
    left = text
    for number, text in enumerate(paper_texts(pdf), start=1):
        if not left.startswith(text):
            text = next((text.removeprefix(one) for one in headings if text.startswith(one)), text)
        assert left.startswith(text), f"sheet {number}: {text[:200]!r} instead of {left[:200]!r}"
        left = left[len(text) :]
    assert not left, f"not on paper: {left[:200]!r}"
