"""Findings in plain words."""

from lagline.analysis import sentences
from lagline.session.findings import polarity_sureness


def test_a_distance_is_told_as_air() -> None:
    said = sentences.arrival("Room", "Near", 101.4, 48_000, 20.0)
    assert said == "Room hears the source 2.11 ms after Near: 101.4 samples, about 73 cm of air."


def test_recordings_that_started_apart_are_not_told_as_a_distance() -> None:
    said = sentences.arrival("Recorder", "Desk", -3.2 * 48_000, 48_000, 20.0)
    assert "3.2000 s before Desk: 153600.0 samples" in said
    assert "did not start together" in said
    assert "of air" not in said


def test_a_polarity_is_told_as_firmly_as_it_is_known() -> None:
    """The words and the level of sureness that tables and cards go by never part."""
    for trust in (0.0, 0.34, 0.35, 0.5, 0.69, 0.7, 1.0):
        said = sentences.polarity("Pickup", "Room", -1, trust, False)
        sureness = polarity_sureness(-1, trust)
        assert ("unclear" in said) == (sureness == "unclear") == (trust < 0.35)
        assert ("probably" in said) == (sureness == "probable") == (0.35 <= trust < 0.7)


def test_seconds_are_no_way_in_air() -> None:
    assert sentences.is_air(-0.25 * 48_000, 48_000)
    assert not sentences.is_air(-0.2501 * 48_000, 48_000)
