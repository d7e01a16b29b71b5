"""Which takes a piece of work is for."""

from __future__ import annotations

from pathlib import Path

from msgspec.structs import replace
from tests.support.day_takes import told, told_day

from lagline.day.asking import Asked, Deliver
from lagline.day.choosing import to_deliver, to_measure
from lagline.day.values import DayTake, Delivered
from lagline.deliver.options import DeliveryOptions

ARRIVALS = {"near": -12.0, "room": 0.0}


def names(asked: tuple[Asked, ...]) -> list[str]:
    return [one.take.name for one in asked]


def test_what_is_measured_is_measured_again_only_when_it_is_chosen() -> None:
    day = told_day([ARRIVALS] * 3)
    assert to_measure(day, day.takes) == ()
    assert names(to_measure(day, day.takes[:2])) == ["Take 1", "Take 2"]
    day = day.with_take(replace(day.takes[1], facts=None))
    assert names(to_measure(day, day.takes)) == names(to_measure(day, day.takes[:2])) == ["Take 2"]


def delivered(name: str, folder: Path) -> DayTake:
    take = told(name, ARRIVALS)
    assert take.facts is not None
    return replace(take, delivered=Delivered(folder, "Shifted", take.facts.stamp))


def test_only_what_lies_in_the_same_folder_is_not_delivered_again(tmp_path: Path) -> None:
    what = Deliver(tmp_path)
    there = delivered("a/Take 1", tmp_path / "a" / "Take 1")
    elsewhere = delivered("Take 2", tmp_path / "old" / "Take 2")
    changed = delivered("Take 3", tmp_path / "Take 3")
    assert changed.facts is not None
    changed = replace(changed, facts=replace(changed.facts, stamp="later", is_lined_up=True))
    takes = (there, elsewhere, changed, told("Take 4", ARRIVALS))
    assert names(to_deliver(takes, what)) == ["Take 2", "Take 3"]
    again = replace(what, options=DeliveryOptions(overwrite=True))
    assert names(to_deliver(takes, again)) == ["a/Take 1", "Take 2", "Take 3"]
