"""A take against a setup: agreeing, moved, not comparable."""

from __future__ import annotations

from pathlib import Path

import pytest

from lagline.jobs.apply_setup import compared
from lagline.session.findings import Alignment, Finding
from lagline.session.setup import SetupLane
from lagline.session.values import Lane, Move, Session, Source

MATCHES = {"near": SetupLane("near", Move(100.0, -1)), "far": SetupLane("far", Move(0.0))}


def take(rate_hz: int = 48000) -> Session:
    names = ("near", "far", "guest")
    source = Source(Path("/takes/x.wav"), 0, rate_hz, 1000, 9)
    return Session(rate_hz=rate_hz, lanes=tuple(Lane(id=name, name=name, source=source) for name in names))


def word(
    near: float | None, polarity: int | None = -1, uncertainty: float = 0.1, rate_hz: int = 48000
) -> str:
    findings = (
        Finding("near", near, uncertainty, polarity, 0.9, "strong", "heard"),
        Finding("far", 0.0, 0.0, 1, 1.0, "strong", "heard"),
        Finding("guest", 5.0, 0.1, 1, 0.9, "strong", "heard"),
    )
    found = compared(take(rate_hz), Alignment("far", rate_hz, findings), MATCHES, 48000)
    assert found[1].word == "agrees"
    assert found[2].word == "not comparable" and found[2].expected_samples is None
    return found[0].word


@pytest.mark.parametrize(
    ("arrival", "expected"),
    [(-100.0, "agrees"), (-104.7, "agrees"), (-105.0, "moved"), (None, "not comparable")],
)
def test_within_a_tenth_of_a_millisecond_it_agrees(arrival: float | None, expected: str) -> None:
    assert word(arrival) == expected


def test_an_uncertain_finding_agrees_from_further_off() -> None:
    assert word(-110.0, uncertainty=4.0) == "agrees"
    assert word(-113.0, uncertainty=4.0) == "moved"


def test_another_polarity_is_a_change() -> None:
    assert word(-100.0, polarity=1) == "moved"
    assert word(-100.0, polarity=None) == "agrees"


def test_the_setups_samples_are_scaled_to_the_takes_rate() -> None:
    assert word(-200.0, rate_hz=96000) == "agrees"
    assert word(-100.0, rate_hz=96000) == "moved"


def test_without_the_anchor_in_the_setup_nothing_compares() -> None:
    findings = (Finding("near", -100.0, 0.1, -1, 0.9, "strong", "heard"),)
    matches = {"near": MATCHES["near"]}
    assert compared(take(), Alignment("far", 48000, findings), matches, 48000)[0].word == "not comparable"
