"""Long names in little room."""

from __future__ import annotations

import pytest

from lagline.desk.strip.short_name import short_name


def short(name: str, others: list[str], room: int) -> str:
    return short_name(name, [name, *others], lambda text: len(text) <= room)


@pytest.mark.parametrize(
    ("name", "others", "room", "expected"),
    [
        ("Original", ["Shifted"], 20, "Original"),
        ("Original", ["Shifted"], 4, "Ori…"),
        ("Shifted 50 %", ["Shifted 75 %"], 9, "Shif…50 %"),
        ("Shifted 50 %", ["Shifted 75 %"], 5, "…50 %"),
        ("Shifted 50 %", ["Shifted 75 %"], 6, "…50 %"),
        ("Bright room", ["Bright hall"], 6, "Bri…om"),
        ("Bright room", ["Bright hall"], 1, "…m"),
    ],
)
def test_a_name_is_cut_where_it_stays_itself(name: str, others: list[str], room: int, expected: str) -> None:
    assert short(name, others, room) == expected


def test_names_of_parts_differ_in_any_room_for_their_figures() -> None:
    names = ["Shifted", "Shifted 25 %", "Shifted 50 %", "Shifted 75 %"]
    for room in range(5, 13):
        assert len({short(name, names, room) for name in names}) == len(names), room
