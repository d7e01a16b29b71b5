"""Findings in plain words."""

from lagline.analysis import sentences


def test_a_distance_is_told_as_air() -> None:
    said = sentences.arrival("Room", "Near", 101.4, 48_000, 20.0)
    assert said == "Room hears the source 2.11 ms after Near: 101.4 samples, about 73 cm of air."


def test_recordings_that_started_apart_are_not_told_as_a_distance() -> None:
    said = sentences.arrival("Recorder", "Desk", -3.2 * 48_000, 48_000, 20.0)
    assert "3.2000 s before Desk: 153600.0 samples" in said
    assert "did not start together" in said
    assert "of air" not in said
