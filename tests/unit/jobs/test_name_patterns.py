"""Which take and which lane a file name stands for."""

from __future__ import annotations

import pytest

from lagline.errors import BadPattern
from lagline.jobs.name_patterns import best_reading, pattern_regex


def test_a_pattern_may_have_the_lane_first_and_signs_that_mean_themselves() -> None:
    match = pattern_regex("{lane} (+48V) {take}*").fullmatch("near (+48v) song 1")
    assert match and match["lane"] == "near" and match["take"] == "song 1"


@pytest.mark.parametrize("pattern", ["", "{take}", "{lane}_{lane}_{take}", "take_lane"])
def test_a_pattern_names_both(pattern: str) -> None:
    with pytest.raises(BadPattern, match="not a pattern"):
        pattern_regex(pattern)


@pytest.mark.parametrize(
    ("takes", "lanes"),
    [
        (("one", "two"), ("near_left", "near_right", "far", "pickup")),  # lanes of one word and of two
        (
            ("one", "two"),
            ("near_left", "near_right", "over_left", "over_right"),
        ),  # not sides alone
        (("my_song_1", "my_song_2"), ("near", "far")),
        (("my_song_1", "my_song_2"), ("near_left", "far")),
        (("ballad", "slow_waltz"), ("near", "far")),  # takes of one word and of two
        (("one",), ("near_left", "far", "pickup")),
        (("tape_1",), ("left", "right")),  # nothing but sides: then these are the lanes
        (("tape_1", "tape_2"), ("left", "right")),
    ],
)
def test_words_are_shared_out_so_that_every_take_has_every_lane(
    takes: tuple[str, ...], lanes: tuple[str, ...]
) -> None:
    names = {f"{take}_{lane}": (take, lane) for take in takes for lane in lanes}
    assert best_reading(list(names), "{take}_{lane}") == names
    turned = {f"{lane} - {take}.v2": (take, lane) for take in takes for lane in lanes}
    assert best_reading(list(turned), "{lane} - {take}.v*") == turned


def test_a_name_that_does_not_fit_is_left_out() -> None:
    assert best_reading(["x", "a_near", "a_far"], "{take}_{lane}") == {
        "a_near": ("a", "near"),
        "a_far": ("a", "far"),
    }
    assert best_reading([], "{take}_{lane}") == {}


def test_a_star_between_the_fields_is_read_as_before() -> None:
    assert best_reading(["one-48k-near"], "{take}-*-{lane}") == {"one-48k-near": ("one", "near")}
