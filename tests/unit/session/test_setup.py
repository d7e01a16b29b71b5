"""Setups: made of a version, matched by name, applied to another take, saved and loaded."""

from __future__ import annotations

import json
from pathlib import Path

import msgspec
import pytest

from lagline.errors import CannotWrite, FileMissing, SessionTooNew, SessionUnreadable
from lagline.session.edits import with_gain
from lagline.session.setup import (
    Setup,
    SetupLane,
    applied,
    found_matches,
    load_setup,
    matched_lanes,
    save_setup,
    setup_of,
)
from lagline.session.values import Balance, Lane, Move, Session, Source, Version

SETUP = Setup(
    name="chapel",
    rate_hz=48000,
    lanes=(
        SetupLane("near", Move(100.5, -1)),
        SetupLane("far mic", Move(0.0)),
        SetupLane("pickup", Move(240.0)),
    ),
    anchor="far mic",
)


def take(*names: str, rate_hz: int = 48000) -> Session:
    lanes = []
    for number, name in enumerate(names):
        source = Source(Path(f"/takes/{name}.wav"), 0, rate_hz, 1000, 9)
        lanes.append(Lane(id=f"lane-{number}", name=name, source=source))
    return Session(rate_hz=rate_hz, lanes=tuple(lanes))


def matches(session: Session, setup: Setup = SETUP) -> dict[str, str]:
    return {session.lane(key).name: known.name for key, known in matched_lanes(setup, session).items()}


def test_a_setup_of_a_version_applied_to_the_same_take_gives_the_version_back() -> None:
    session = take("near", "far mic")
    balances = {"lane-0": Balance(-6.0, 0.5), "lane-1": Balance(mute=True)}
    version = Version("v1", "Shifted", {"lane-0": Move(12.25, -1, 1.5), "lane-1": Move()}, balances)
    setup = setup_of(session, version, "again")
    done = applied(setup, session, matched_lanes(setup, session))
    assert done.current_version.moves == version.moves
    assert done.current_version.balances == version.balances


def test_a_setup_from_before_there_were_balances_leaves_them_alone(tmp_path: Path) -> None:
    session = with_gain(take("near"), "lane-0", -6.0)
    path = tmp_path / "old.lagline-setup"
    path.write_text(
        '{"schema": "lagline/setup", "version": 1, "name": "old", "rate_hz": 48000, "lanes":'
        ' [{"name": "near", "move": {"shift_samples": 3.0}}]}',
        "utf-8",
    )
    setup = load_setup(path)
    done = applied(setup, session, matched_lanes(setup, session)).current_version
    assert (done.move("lane-0").shift_samples, done.balance("lane-0").gain_db) == (3.0, -6.0)


@pytest.mark.parametrize("balance", [Balance(1e3), Balance(pan=-1.5), Balance(float("nan"))])
def test_a_balance_that_makes_no_sense_is_refused(tmp_path: Path, balance: Balance) -> None:
    path = tmp_path / "bad.lagline-setup"
    text = msgspec.json.encode(
        msgspec.structs.replace(SETUP, lanes=(SetupLane("near", Move(), "", balance),))
    )
    path.write_bytes(b'{"schema": "lagline/setup", "version": 1, ' + text[1:])
    with pytest.raises(SessionUnreadable, match=r"gain or pan of near|balance"):
        load_setup(path)


def test_names_are_matched_without_regard_to_capitals() -> None:
    assert matches(take("NEAR", "Pickup", "vocal")) == {"NEAR": "near", "Pickup": "pickup"}


def test_what_all_names_of_a_take_share_does_not_count() -> None:
    session = take("song2_t03_near", "song2_t03_far-mic", "song2_t03_pickup")
    assert matches(session) == {
        "song2_t03_near": "near",
        "song2_t03_far-mic": "far mic",
        "song2_t03_pickup": "pickup",
    }


def test_a_pattern_decides_where_one_is_given() -> None:
    setup = Setup("s", 48000, (SetupLane("near", Move(1.0), pattern="*close*"), SetupLane("far", Move())))
    assert matches(take("my close one", "near"), setup) == {"my close one": "near"}


def test_it_says_what_a_match_rests_on() -> None:
    setup = Setup(
        "s",
        48000,
        (
            SetupLane("mix_near", Move(), pattern="*close*"),
            SetupLane("mix_far", Move()),
            SetupLane("mix_di", Move()),
        ),
    )
    session = take("song_close", "MIX_FAR", "song_di")
    assert {key: (match.known.name, match.by) for key, match in found_matches(setup, session).items()} == {
        "lane-0": ("mix_near", "pattern"),
        "lane-1": ("mix_far", "name"),
    }
    alike = take("song_near", "song_far", "song_di")
    assert found_matches(setup, alike)["lane-2"].by == "part of the name"


def test_patterns_are_kept_with_their_lanes() -> None:
    session = take("near", "far mic")
    setup = setup_of(session, session.current_version, "s", {"lane-1": " *far* "})
    assert [known.pattern for known in setup.lanes] == ["", "*far*"]


def test_a_name_that_fits_two_ways_is_left_alone() -> None:
    setup = Setup("s", 48000, (SetupLane("a", Move(1.0), pattern="x*"), SetupLane("b", Move(), pattern="*y")))
    assert matches(take("xy", "z"), setup) == {}


def test_shifts_keep_their_time_at_another_rate() -> None:
    session = take("near", "far mic", rate_hz=96000)
    done = applied(SETUP, session, matched_lanes(SETUP, session))
    assert done.current_version.move("lane-0") == Move(201.0, -1)


def test_saved_then_loaded_is_equal_and_unknown_keys_stay(tmp_path: Path) -> None:
    path = tmp_path / "chapel.lagline-setup"
    save_setup(SETUP, path)
    assert load_setup(path) == SETUP
    document = json.loads(path.read_text("utf-8"))
    path.write_text(json.dumps({**document, "stand": "the tall one"}), "utf-8")
    save_setup(load_setup(path), path)
    assert json.loads(path.read_text("utf-8"))["stand"] == "the tall one"


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"schema": "x"}, "does not begin"),
        ({"version": None}, "version is not"),
        ({"rate_hz": 0}, "rate of 0"),
        ({"lanes": "all"}, "array"),
        ({"lanes": [{"name": "a", "move": {}}, {"name": "A", "move": {}}]}, "same name"),
        ({"lanes": [{"name": "a", "move": {"polarity": 3}}]}, "polarity of a"),
        ({"lanes": [{"name": "a", "move": {"shift_samples": 1e30}}]}, "shift of a"),
        ({"lanes": [{"name": "a", "move": {"rate_ppm": 1e30}}]}, "drift of a"),
    ],
)
def test_senseless_setups_are_refused_in_words(tmp_path: Path, changes: dict[str, object], says: str) -> None:
    path = tmp_path / "chapel.lagline-setup"
    save_setup(SETUP, path)
    path.write_text(json.dumps({**json.loads(path.read_text("utf-8")), **changes}), "utf-8")
    with pytest.raises(SessionUnreadable, match=says) as caught:
        load_setup(path)
    assert "setup" in str(caught.value)


def test_newer_missing_broken_and_unwritable_setups_are_named(tmp_path: Path) -> None:
    path = tmp_path / "chapel.lagline-setup"
    with pytest.raises(FileMissing, match="chapel"):
        load_setup(path)
    path.write_text("{", "utf-8")
    with pytest.raises(SessionUnreadable, match="whole JSON"):
        load_setup(path)
    path.write_text('{"schema": "lagline/setup", "version": 7}', "utf-8")
    with pytest.raises(SessionTooNew):
        load_setup(path)
    with pytest.raises(CannotWrite, match="nowhere"):
        save_setup(SETUP, tmp_path / "nowhere" / "chapel.lagline-setup")


def test_words_that_all_names_end_with_do_not_count() -> None:
    session = take("near_song2", "pickup_song2")
    setup = Setup(
        name="x", rate_hz=48000, lanes=(SetupLane("near_song1", Move(1.0)), SetupLane("pickup_song1", Move()))
    )
    assert matches(session, setup) == {"near_song2": "near_song1", "pickup_song2": "pickup_song1"}
