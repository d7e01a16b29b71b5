"""A release writes its version once everywhere, and moves what was unreleased under it."""

from __future__ import annotations

from pathlib import Path

import pytest
from assets.packaging.release import PLACES, VERSION, with_section, with_version

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", PLACES)
def test_the_version_stands_once_in_each_place_and_is_replaced_there(name: str) -> None:
    text = (ROOT / name).read_text("utf-8")
    written = with_version(text, PLACES[name], "9.8.7")
    assert written.count("9.8.7") == 1
    ((_, was, _),) = PLACES[name].findall(text)
    assert written.replace("9.8.7", was) == text and VERSION.fullmatch(was)


def test_all_places_say_the_same_version() -> None:
    said = {PLACES[name].findall((ROOT / name).read_text("utf-8"))[0][1] for name in PLACES}
    assert len(said) == 1


def test_a_version_that_stands_twice_or_nowhere_is_refused() -> None:
    line = PLACES["pyproject.toml"]
    for text in ("", 'version = "1.0.0"\nversion = "1.0.0"\n'):
        with pytest.raises(ValueError, match="once"):
            with_version(text, line, "2.0.0")


def test_what_was_unreleased_gets_its_version() -> None:
    was = "# Changelog\n\n## Unreleased\n\n### Added\n\n- One.\n\n## 0.1.0 (2026-01-01)\n\n- Old.\n"
    now = with_section(was, "0.2.0", "2026-02-03")
    assert (
        now.index("## Unreleased") < now.index("## 0.2.0 (2026-02-03)\n\n### Added") < now.index("## 0.1.0")
    )
    with pytest.raises(ValueError, match="nothing stands"):
        with_section(now, "0.3.0", "2026-03-04")
