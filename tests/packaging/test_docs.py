"""The documentation site: its links are followed, and every page that belongs to it is listed."""

from __future__ import annotations

from pathlib import Path

import pytest
from assets.docs.build import broken_links, gather


def page(folder: Path, name: str, body: str) -> None:
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text(f"<html><body>{body}</body></html>", "utf-8")


def test_links_that_lead_somewhere_pass(tmp_path: Path) -> None:
    page(
        tmp_path, "index.html", '<a href="guide/a%20b.html#top">a</a><a href="https://example.invalid/">w</a>'
    )
    page(tmp_path, "guide/a b.html", '<h1 id="top">A</h1><a href="#top">up</a><a href="../index.html">h</a>')
    assert broken_links(tmp_path) == []


@pytest.mark.parametrize(
    "body",
    [
        '<a href="gone.html">page</a>',
        '<img src="pictures/gone.png">',
        '<a href="#gone">heading here</a>',
        '<a href="other.html#gone">heading there</a>',
        '<a href="guide/">a folder</a>',
    ],
)
def test_a_link_that_leads_nowhere_is_named_with_its_page(tmp_path: Path, body: str) -> None:
    page(tmp_path, "index.html", body)
    page(tmp_path, "other.html", '<h1 id="there">Other</h1>')
    page(tmp_path, "guide/page.html", "")
    (said,) = broken_links(tmp_path)
    assert said.startswith("index.html: ")


def test_every_page_that_is_gathered_is_in_the_contents(tmp_path: Path) -> None:
    gather(tmp_path)
    listed = (tmp_path / "index.md").read_text("utf-8")
    pages = {page.relative_to(tmp_path).with_suffix("").as_posix() for page in tmp_path.rglob("*.md")}
    assert pages - {"index"} == {name for name in pages if f"\n{name}\n" in listed}
    assert "guide/first-take" in pages and "developers" in pages
