"""Further takes: found, told apart, saved beside their recordings."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.support.click_take import write_click_take

from lagline.desk.setups import further_takes
from lagline.desk.setups.further_takes import is_among, save_all, take_of, takes_below, with_own_name
from lagline.errors import BadPattern, Cancelled, NoFolder
from lagline.jobs.apply_setup import path_beside
from lagline.jobs.open_take import open_take
from lagline.session.restore_points import restore_points
from lagline.session.storage import load


def ignored(_: float) -> None:
    """Progress that nobody looks at."""


def going() -> bool:
    return False


def test_every_take_below_a_folder_is_opened_and_a_broken_one_is_named(tmp_path: Path) -> None:
    for name in ("one", "two"):
        write_click_take(tmp_path / name, {"near": 0, "far": 50}, frames=24_000)
    broken = tmp_path / "broken"
    broken.mkdir()
    for name in ("near.wav", "far.wav"):
        (broken / name).write_bytes(b"no sound")
    found = takes_below(tmp_path, None, 25.0, ignored, going)
    assert [take.session.name for take in found.opened] == ["one", "two"]
    assert found.opened[0].session.temperature_c == 25.0
    assert len(found.failures) == 1 and found.failures[0].startswith("broken")
    with pytest.raises(Cancelled):
        takes_below(tmp_path, None, 20.0, ignored, lambda: True)
    with pytest.raises(NoFolder):
        takes_below(broken / "none", None, 20.0, ignored, going)


def test_several_takes_in_one_folder_are_told_apart_by_a_pattern(tmp_path: Path) -> None:
    folder = tmp_path / "songs"
    clicks = {"first_near": 0, "first_far": 9, "second_near": 0, "second_far": 9}
    write_click_take(folder, clicks, frames=24_000)
    found = takes_below(folder, "{take}_{lane}", 20.0, ignored, going)
    assert [take.session.name for take in found.opened] == ["first", "second"]
    assert len({path_beside(take.session) for take in found.opened}) == 2
    with pytest.raises(BadPattern):
        takes_below(folder, "{take}", 20.0, ignored, going)


def test_takes_in_one_folder_get_names_and_files_of_their_own(tmp_path: Path) -> None:
    folder = tmp_path / "songs"
    write_click_take(
        folder, {"first_near": 0, "first_far": 9, "second_near": 0, "second_far": 9}, frames=24_000
    )
    first, second = (
        take_of([folder / f"{n}_near.wav", folder / f"{n}_far.wav"], 20.0, ignored, going).opened[0].session
        for n in ("first", "second")
    )
    assert first.name == second.name == "songs"
    named = with_own_name(second, [first])
    assert named.name == "songs second"
    assert with_own_name(second, [first, named]).name == "songs second (2)"
    assert path_beside(first) != path_beside(named)
    assert is_among(open_take([folder / "first_near.wav", folder / "first_far.wav"]).session, [first])
    assert not is_among(second, [first])


def test_saving_never_replaces_a_file_unasked_and_keeps_what_it_was_when_asked(tmp_path: Path) -> None:
    session = write_click_take(tmp_path / "take", {"near": 0, "far": 50}, frames=24_000)
    path = tmp_path / "take" / "take.lagline"
    path.write_text("mine", "utf-8")
    refused = save_all([(3, session)], False, ignored, going)
    assert refused[0].number == 3 and "already" in refused[0].failure
    assert path.read_text("utf-8") == "mine"
    assert save_all([(3, session)], True, ignored, going)[0].failure == ""
    assert load(path).name == "take"
    assert [point.path.read_text("utf-8") for point in restore_points(path)] == ["mine"]
    assert save_all([(3, session)], True, ignored, lambda: True) == ()


def test_a_place_that_cannot_be_looked_at_is_refused_and_the_next_take_is_saved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = write_click_take(tmp_path / "one", {"near": 0, "far": 50}, frames=24_000)
    two = write_click_take(tmp_path / "two", {"near": 0, "far": 50}, frames=24_000)
    nowhere = tmp_path / ("x" * 300)
    monkeypatch.setattr(
        further_takes, "path_beside", lambda session: nowhere if session is one else path_beside(session)
    )
    refused, saved = save_all([(1, one), (2, two)], False, ignored, going)
    assert nowhere.name in refused.failure
    assert saved.failure == "" and load(saved.path).name == two.name
