"""A take against a setup: agreeing, moved, not comparable."""

from __future__ import annotations

from pathlib import Path

import pytest

from lagline.jobs.apply_setup import compared, decided, options_for, path_beside
from lagline.session.findings import Alignment, Finding
from lagline.session.setup import Setup, SetupLane
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


SETUP = Setup("s", 48000, (SetupLane("near", Move(130.0, -1)), SetupLane("far", Move(30.0, -1, 2.0))), "far")


def found(near: float | None) -> Alignment:
    findings = (
        Finding("near", near, 0.1, None if near is None else -1, 0.9, "strong", "heard", 0.9, drift_ppm=1.0),
        Finding("far", 0.0, 0.0, 1, 1.0, "strong", "heard"),
        Finding("guest", 5.0, 0.1, None, 0.9, "strong", "heard"),
    )
    return Alignment("far", 48000, findings)


def moves(near: float | None, *new_lanes: str) -> dict[str, Move]:
    matches = {known.name: known for known in SETUP.lanes}
    return decided(SETUP, take(), found(near), matches, new_lanes).current_version.moves


def test_the_setup_is_kept_where_nothing_else_is_chosen() -> None:
    assert moves(-90.0) == {"near": Move(130.0, -1), "far": Move(30.0, -1, 2.0)}


def test_a_measured_lane_is_lined_up_on_the_anchor_where_the_setup_has_it() -> None:
    done = moves(-90.0, "near", "guest", "far")
    assert done["far"] == Move(30.0, -1, 2.0)
    assert done["near"] == Move(120.0, 1, 3.0)  # inverted against an anchor that is flipped: as recorded
    assert done["guest"] == Move(25.0, 1, 2.0)
    for lane, arrival in (("near", -90.0), ("guest", 5.0)):
        assert arrival + done[lane].shift_samples == done["far"].shift_samples  # lined up, by definition


def test_a_lane_of_which_nothing_was_found_keeps_the_setup() -> None:
    assert moves(None, "near")["near"] == Move(130.0, -1)


def test_a_take_is_measured_against_the_setups_anchor_where_it_has_it() -> None:
    assert options_for(SETUP, {"lane-7": SETUP.lanes[1]}).anchor == "lane-7"
    assert options_for(SETUP, {"lane-7": SETUP.lanes[0]}).anchor == "latest"


def test_a_session_lies_beside_its_recordings_under_a_name_every_system_takes(tmp_path: Path) -> None:
    sources = [Source(tmp_path / folder / "x.wav", 0, 48000, 1, 9) for folder in ("a/one", "a/two")]
    lanes = tuple(Lane(str(n), str(n), source) for n, source in enumerate(sources))
    path = path_beside(Session(48000, lanes, name="take: 3/4"))
    assert path.parent == tmp_path / "a"
    assert path.suffix == ".lagline"
    assert not set(path.name) & set('/\\:*?"<>|')
