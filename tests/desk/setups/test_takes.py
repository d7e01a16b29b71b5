"""A take against a setup, as values and as text."""

from __future__ import annotations

import pytest
from msgspec.structs import replace
from tests.support.invented_session import session

from lagline.desk.setups import takes as on_takes
from lagline.desk.setups.texts import choice_text, fits_text, lane_rows, take_state
from lagline.session.setup import Setup
from lagline.session.values import Move


@pytest.fixture
def take(setup: Setup) -> on_takes.TakeOnSetup:
    found = session()
    return on_takes.measured(on_takes.on_setup(setup, replace(found, alignment=None)), found.alignment)


def row(setup: Setup, take: on_takes.TakeOnSetup, lane_id: str):
    return next(one for one in lane_rows(setup, take) if one.lane_id == lane_id)


def test_lanes_are_matched_by_name_and_pattern(setup) -> None:
    take = on_takes.on_setup(setup, session(measured=False))
    told = {key: (match.known.name, match.told_by) for key, match in take.matches.items()}
    assert told == {
        "near": ("Near left", "name"),
        "pick": ("Pickup", "pattern"),
        "far": ("Balcony", "name"),
        "room": ("Room", "name"),
    }
    assert take_state(setup, take) == "4 of 5 lanes matched; not measured yet"
    assert row(setup, take, "near").measured == "—"


def test_the_difference_is_written_in_samples_ms_and_cm(setup, take) -> None:
    one = row(setup, take, "near")
    assert (one.expected, one.measured) == ("−103.00", "−101.37")
    # 1.63 samples at 48 kHz are 0.03396 ms; times 343.2 m/s (ISO 9613-1, 20 degrees C) 1.165 cm.
    assert (one.difference_samples, one.difference_ms, one.difference_cm) == ("+1.63", "+0.034", "+1.2")
    assert one.verdict == "✓ agrees"


def test_verdicts_have_a_mark_and_words(setup, take) -> None:
    assert row(setup, take, "pick").verdict == "↔ moved"
    assert row(setup, take, "talk").verdict == "? not comparable: no match"
    assert row(setup, take, "room").verdict == "◆ anchor"
    assert take_state(setup, take) == "✓ 2 agree, ↔ 1 moved, ? 1 not comparable"
    turned = replace(
        setup, lanes=tuple(replace(x, move=Move(103.0)) for x in setup.lanes[:1]) + setup.lanes[1:]
    )
    turned_take = on_takes.measured(on_takes.on_setup(turned, session()), session().alignment)
    assert row(turned, turned_take, "near").verdict == "↔ moved, other polarity"


def test_without_its_anchor_or_a_finding_a_lane_says_why_it_cannot_be_compared(setup, take) -> None:
    adrift = on_takes.rematched(take, "room", None)
    assert row(setup, adrift, "near").verdict == "? not comparable: anchor"
    talk = on_takes.rematched(take, "talk", setup.lanes[3])
    assert row(setup, talk, "talk").verdict == "? not comparable: not found"
    assert row(setup, talk, "talk").told_by == "by hand"


def test_a_match_by_hand_compares_at_once(setup, take) -> None:
    spot = on_takes.rematched(take, "near", setup.lanes[3])
    assert row(setup, spot, "near").expected == "−20.00"
    assert row(setup, spot, "near").verdict.startswith("↔ moved")


def test_what_was_measured_is_taken_lane_by_lane(setup, take) -> None:
    assert on_takes.offering(take) == {"near", "pick", "far"}
    everything = on_takes.taking(take, frozenset(["near", "pick", "talk", "room"]), True)
    assert everything.new_lanes == {"near", "pick"}  # nothing was found of talk, and room is the anchor
    one = on_takes.taking(everything, frozenset(["near"]), False)
    moves = on_takes.result(setup, one).current_version.moves
    assert moves["near"] == Move(103.0, -1)
    assert moves["pick"] == Move(118.02)
    assert "talk" not in moves
    assert choice_text(one) == "3 keep the setup, 1 takes what was measured, 1 stays as it is"


def test_a_take_whose_lanes_changed_is_refused(setup, take) -> None:
    now = session()
    with pytest.raises(ValueError, match="changed"):
        on_takes.result(setup, take, replace(now, lanes=now.lanes[1:]))
    named = replace(now, notes="meanwhile")
    assert on_takes.result(setup, take, named).notes == "meanwhile"


def test_a_failed_take_is_left_out(setup, take) -> None:
    bad = on_takes.failed(take, "Nothing to hear.")
    assert not bad.is_chosen
    assert take_state(setup, bad) == "⚠ Nothing to hear."
    assert on_takes.measured(bad, session().alignment).state == "measured"


@pytest.mark.parametrize(
    ("pattern", "says"),
    [
        ("", ""),
        ("near*", "✓ this lane only"),
        ("*a*", "⚠ also Contact pickup, Balcony, Talkback"),
        ("room", "⚠ not this lane, but Room"),
        ("drum*", "⚠ no lane of this take"),
    ],
)
def test_a_pattern_is_tried_on_the_take(pattern: str, says: str) -> None:
    assert fits_text(pattern, "near", session()) == says
