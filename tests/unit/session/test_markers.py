"""Markers and regions of a take."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support.click_take import write_click_take

from lagline.errors import LaglineError
from lagline.session.markers import marker_words, with_marker, with_marker_name, without_marker
from lagline.session.storage import load, save
from lagline.session.values import Marker, Session


@pytest.fixture
def take(tmp_path: Path) -> Session:
    return write_click_take(tmp_path / "take", {"near": 0, "room": 96})


def test_they_stand_in_order_of_time_under_names_of_their_own(take: Session) -> None:
    marked = with_marker(with_marker(with_marker(take, 5_000), 1_000, 2_000), 3_000)
    assert [(one.at_samples, one.name, one.stop_samples) for one in marked.markers] == [
        (1_000, "2", 2_000), (3_000, "3", None), (5_000, "1", None),
    ]  # fmt: skip
    gone = without_marker(marked, marked.markers[0])
    assert [one.name for one in with_marker(gone, 0).markers] == ["2", "3", "1"]


def test_a_name_is_asked_for(take: Session) -> None:
    marked = with_marker(take, 5_000)
    assert with_marker_name(marked, marked.markers[0], " Verse ").markers[0].name == "Verse"
    with pytest.raises(ValueError, match="needs a name"):
        with_marker_name(marked, marked.markers[0], " ")


def test_they_are_kept(take: Session, tmp_path: Path) -> None:
    marked = with_marker(with_marker(take, 5_000), 1_000, 2_000)
    save(marked, tmp_path / "marked.lagline")
    assert load(tmp_path / "marked.lagline") == marked


def test_a_region_that_ends_before_it_starts_is_refused(take: Session, tmp_path: Path) -> None:
    save(replace(take, markers=(Marker(5_000, "odd", 6_000),)), tmp_path / "odd.lagline")
    text = (tmp_path / "odd.lagline").read_text("utf-8")
    (tmp_path / "odd.lagline").write_text(text.replace("6000", "4000"), "utf-8")
    with pytest.raises(LaglineError, match="region odd ends before it starts"):
        load(tmp_path / "odd.lagline")


def test_in_words() -> None:
    assert marker_words(Marker(60_000, "a"), 48_000) == "1.250 s"
    assert marker_words(Marker(60_000, "a", 96_000), 48_000) == "1.250 s to 2.000 s"
