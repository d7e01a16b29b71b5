"""`lagline plan`: what is typed, what is printed, what is saved."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
import typer
from tests.support import demo
from typer.testing import CliRunner, Result

from lagline.cli.plan import plan_command
from lagline.cli.plan_words import planned_lane, point
from lagline.errors import FileMissing, NotInSession, WouldOverwrite
from lagline.session.plan import load_plan
from lagline.session.setup import load_setup

DOOR = typer.Typer(pretty_exceptions_enable=False)
DOOR.command()(plan_command)


def asked(*words: object) -> Result:
    return CliRunner().invoke(DOOR, [str(word) for word in words])


def answered(*words: object) -> dict[str, Any]:
    result = asked(*words, "--json")
    assert result.exit_code == 0, result.output
    document: dict[str, Any] = json.loads(result.stdout)
    return document


@pytest.mark.parametrize(
    ("text", "distance_m", "latency_ms", "level_db"),
    [
        ("near=0.5", 0.5, 0.0, 0.0),
        ("near=50cm", 0.5, 0.0, 0.0),
        ("far=10ft@-3", 3.048, 0.0, -3.0),
        ("rim=12in", 0.3048, 0.0, 0.0),
        ("di=4.4ms", None, 4.4, 0.0),
        ("di=480samples@-6dB", None, 10.0, -6.0),
        ("radio=2m+3.2ms@+1.5", 2.0, 3.2, 1.5),
        ("far=3 ft 2 in@-3", 0.9652, 0.0, -3.0),
        ("spot=1m20cm + 1 s 20 ms", 1.2, 1020.0, 0.0),
        ("spot=1,5m", 1.5, 0.0, 0.0),
        (" hall = 6.25 m ", 6.25, 0.0, 0.0),
    ],
)
def test_lanes_as_typed(text: str, distance_m: float | None, latency_ms: float, level_db: float) -> None:
    lane = planned_lane(text, 48_000)
    assert lane.distance_m == (None if distance_m is None else pytest.approx(distance_m))
    assert (lane.latency_ms, lane.level_db) == pytest.approx((latency_ms, level_db))
    assert lane.name == text.split("=")[0].strip()


def test_places_as_typed() -> None:
    lane = planned_lane("hall=1,-6,2.5+0.5ms", 48_000)
    assert (lane.place_m, lane.latency_ms, lane.distance_m) == ((1.0, -6.0, 2.5), 0.5, None)
    assert point("0, 1, 2") == (0.0, 1.0, 2.0)


@pytest.mark.parametrize(
    "text",
    ["near", "=3", "near=", "near=three", "near=3yd", "near=-2m", "near=3m@loud", "near=1,2", "a=1m,b"],
)
def test_what_is_no_lane_is_refused(text: str) -> None:
    with pytest.raises(typer.BadParameter):
        planned_lane(text, 48_000)


def test_arrivals_as_json() -> None:
    document = answered(
        "near=0.5m", "far=6m", "di=4ms@-3", "--humidity", 0, "--rate", 96_000, "--inverted", "di"
    )
    lanes = {lane["name"]: lane for lane in document["lanes"]}
    assert document["schema"] == "lagline/plan-report/1"
    assert document["anchor"] == "far"
    assert lanes["near"]["arrival_samples"] == pytest.approx(-5.5 / 343.36 * 96_000, rel=1e-4)
    assert lanes["di"]["heard_ms"] == 4.0
    assert lanes["di"]["direct_line"]
    assert lanes["di"]["polarity"] == -1
    first = document["pairs"][0]
    assert (first["a"], first["b"], first["notch_db"], first["keeps_3_to_1"]) == ("near", "far", None, True)
    assert document["blend_dips"]


def test_pairs_say_at_which_levels_they_are_summed() -> None:
    equal = asked("near=1m", "far=4m").stdout
    assert "all lanes equally loud in the blend (near=1m@-6 would say otherwise)" in equal
    assert "cancels" in equal
    assert re.search(r"loudest lane: \d+ Hz \(cancels\)", " ".join(equal.split()))
    typed = asked("near=1m", "far=4m@-6").stdout
    assert "in the blend near at +0 dB, far at -6 dB" in typed
    assert "-6.0 dB" in typed  # 20 log10(1 - 10^(-6/20)) = -6.04: reference table of two paths
    assert "+3.5 dB" in typed


def test_the_table_names_every_lane_and_the_rule() -> None:
    result = asked("near=0.5m", "far=1m", "--anchor", "near")
    assert result.exit_code == 0
    assert "near (anchor)" in result.stdout
    assert "not kept" in result.stdout


def test_how_far_to_move_for_a_notch() -> None:
    (wish,) = answered("near=1m", "far=2m", "--humidity", 0, "--notch", "far:near@100")["notch_moves"]
    assert [way["distance_m"] for way in wish["ways"]] == pytest.approx([1 + 343.36 / 200], abs=1e-3)
    assert asked("near=1m", "far=2m", "--notch", "far-near").exit_code == 2


def test_a_plan_is_saved_and_taken_up_again(tmp_path: Path) -> None:
    plan, setup = tmp_path / "hall.lagline-plan", tmp_path / "hall.lagline-setup"
    told = asked("near=0.5m", "far=6m", "--temperature-c", 15, "--save", plan, "--setup", setup)
    assert told.exit_code == 0
    assert f"lagline plan {plan}" in told.stderr and f"lagline apply {setup} TAKE" in told.stderr
    again = answered(plan, "near=0.7m", "--anchor", "near")
    assert again["temperature_c"] == 15
    assert [lane["distance_m"] for lane in again["lanes"]] == [0.7, 6.0]
    assert [lane.name for lane in load_plan(plan).lanes] == ["near", "far"]
    moves = {lane.name: lane.move.shift_samples for lane in load_setup(setup).lanes}
    assert moves["far"] == 0.0
    assert moves["near"] > 700
    assert isinstance(asked("near=0.5m", "--save", plan).exception, WouldOverwrite)


def test_bad_words_are_wrong_usage_and_missing_files_are_named(tmp_path: Path) -> None:
    assert asked("near=3yd").exit_code == 2
    assert asked("near=3m", "--temperature-c", 200).exit_code == 2
    assert asked("near=99999m").exit_code == 2
    assert asked().exit_code == 2
    assert isinstance(asked(tmp_path / "no.lagline-plan").exception, FileMissing)
    assert isinstance(asked("near=3m", "--anchor", "far").exception, NotInSession)


def test_the_tape_against_a_demo_take() -> None:
    table = demo.truth("chapel")
    words = [
        f"{lane['name']}={lane['latency_samples']}samples"
        if lane["distance_m"] is None
        else f"{lane['name']}={lane['distance_m']}m"
        for lane in table["lanes"]
    ]
    words[0] = words[0].replace("0.68", "0.98")  # a slip of the pen: 30 cm
    document = answered(*words, "--temperature-c", 16, "--humidity", 0, "--against", demo.FOLDER / "chapel")
    rows = {row["name"]: row for row in document["tape_against_sound"]}
    assert rows["near_right"]["cause"] == "agrees"
    assert rows["near_left"]["cause"] == "unexplained"
    assert rows["near_left"]["difference_samples"] == pytest.approx(-42, abs=4)
    assert rows["pickup"]["is_flipped"], "it was planned upright"
