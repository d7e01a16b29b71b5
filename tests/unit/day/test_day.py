"""A day from its folder to its delivery, with real recordings and worker processes."""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

import pytest
import soundfile
from msgspec.structs import replace
from tests.support.day_takes import write_day, write_lane_folders

from lagline.day.against import differences, held_against, moved_lanes, moves_over, usual
from lagline.day.asking import Accept, Asked, Decide, Deliver, Measure, Outcome, What, session_of
from lagline.day.choosing import to_accept
from lagline.day.document import load_day, place_of_list, save_day
from lagline.day.listing import listed, refreshed
from lagline.day.pace import Pace
from lagline.day.papers import write_papers
from lagline.day.values import Day, DayTake
from lagline.day.work import done, work_on
from lagline.session import edits
from lagline.session.setup import setup_of
from lagline.session.storage import load, save

MOVED = {4: {"side": 56 + 48}}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_day(tmp_path_factory.mktemp("work") / "day", 5, MOVED)


@pytest.fixture(scope="module")
def measured(folder: Path) -> Day:
    return work(listed([folder]).day, Measure())


def work(day: Day, what: What, takes: list[DayTake] | None = None) -> Day:
    """As the desk does it, in this process; the real processes have a test of their own."""
    for take in takes if takes is not None else day.takes:
        held = held_against(day)
        moved = moved_lanes(take, held) if held is not None else frozenset[str]()
        day = day.with_take(done(Asked(take, what, moved=moved)).take)
    assert [take.error for take in day.takes] == [""] * len(day.takes)
    return day


def test_a_new_list_has_names_lengths_and_lanes(folder: Path) -> None:
    day = listed([folder]).day
    assert [take.name for take in day.takes] == [f"Take {n}" for n in range(1, 6)]
    take = day.takes[0]
    assert take.facts is not None and take.facts.length_s == 2.0
    assert [lane.name for lane in take.facts.lanes] == ["near", "room", "side"]
    assert place_of_list([folder]) == folder / "day.lagline-day"


def test_measured_takes_say_what_moved(measured: Day) -> None:
    assert {take.state for take in measured.takes} == {"measured"}
    assert all(take.is_checked and not take.faults and len(take.picture) == 96 for take in measured.takes)
    held = held_against(measured)
    assert held is not None
    moved = {
        (take.name, one.lane, round(one.samples or 0))
        for take in measured.takes
        for one in differences(take, held)
    }
    assert moved == {("Take 4", "side", 48), ("Take 5", "side", 48)}
    (move,) = moves_over(measured.takes, held)
    assert (move.lane, move.before, move.after) == ("side", "Take 3", "Take 4")


def test_a_list_made_again_knows_what_was_done(measured: Day, folder: Path) -> None:
    again = listed([folder], before=measured).day
    assert again == measured
    assert [take.state for take in listed([folder]).day.takes] == ["measured"] * 5


def test_takes_with_a_folder_for_each_lane_keep_their_work(tmp_path: Path) -> None:
    root = write_lane_folders(tmp_path / "day", 2)
    day = work(listed([root], "number").day, Measure())
    assert day.takes[0].facts is not None
    assert [lane.name for lane in day.takes[0].facts.lanes] == ["near 001", "room 001", "side 001"]
    assert {take.session.parent for take in day.takes} == {root}
    assert listed([root], "number", before=day).day == day
    again = listed([root], "number").day
    assert [take.state for take in again.takes] == ["measured"] * 2
    assert [take.session for take in again.takes] == [take.session for take in day.takes]


def test_takes_with_a_folder_for_each_lane_are_held_against_each_other(tmp_path: Path) -> None:
    day = work(listed([write_lane_folders(tmp_path / "day", 3)], "number").day, Measure())
    held = held_against(day)
    assert held is not None and [differences(take, held) for take in day.takes] == [()] * 3
    assert len(to_accept(day, day.takes)) == 3


def test_a_take_keeps_its_session_whatever_lanes_it_has_now(tmp_path: Path) -> None:
    """Without a lane that was left out on the desk; kept elsewhere; with a recording more in the folder."""
    day = work(listed([write_day(tmp_path / "day", 3)]).day, Measure())
    first, second, third = day.takes
    session = load(first.session)
    save(edits.without_lane(session, session.lane_named("side").id), first.session)
    (tmp_path / "desk").mkdir()
    save(load(second.session), tmp_path / "desk" / "mine.lagline")
    second.session.unlink()
    day = day.with_take(replace(second, session=tmp_path / "desk" / "mine.lagline"))
    side = third.paths[0].parent / "side.wav"
    shutil.copy(side, side.with_name("spare.wav"))
    again = listed([tmp_path / "day"], before=day).day
    assert [take.state for take in again.takes] == ["measured"] * 3
    assert [take.session for take in again.takes] == [take.session for take in day.takes]
    assert again.takes[0].facts is not None and len(again.takes[0].facts.lanes) == 2
    assert len(again.takes[2].paths) == 4


def test_a_day_is_lined_up_decided_and_delivered_with_its_papers(measured: Day, folder: Path) -> None:
    day = work(measured, Accept(usual(measured.takes)))
    assert {take.state for take in day.takes} == {"lined up"}
    side = load(day.takes[3].session).lane_named("side")
    version = load(day.takes[3].session).current_version
    anchor = load(day.takes[3].session).lane_named("room").id
    apart = version.move(side.id).shift_samples - version.move(anchor).shift_samples
    assert apart == pytest.approx(196 - 104, abs=0.5)

    third = load(day.takes[2].session)
    third = edits.with_gain(third, third.lane_named("room").id, -6.0)
    model = setup_of(third, third.current_version, "as in Take 3")
    day = work(day, Decide(model, "Warm"))
    assert {take.state for take in day.takes} == {"decided"}
    one = load(day.takes[4].session)
    assert one.current_version.name == "Warm"
    assert one.current_version.balance(one.lane_named("room").id).gain_db == -6.0
    assert one.current_version.moves == load(day.takes[4].session).versions[0].moves

    out = folder.parent / "out"
    day = work(day, Deliver(out))
    assert {take.state for take in day.takes} == {"delivered"}
    assert sorted(path.name for path in out.iterdir()) == [f"Take {n}" for n in range(1, 6)]
    assert (out / "Take 1" / "aligned").is_dir()
    told = json.loads((out / "Take 1" / "delivery.json").read_text("utf-8"))["files"]
    blends = [file for file in told if file["kind"] == "blend"]
    loudness, gains = ([file[key] for file in blends] for key in ("loudness_lufs", "gain_db"))
    assert len(blends) == 2 and abs(gains[0] - gains[1]) > 1.0, "one was turned down"
    assert loudness[0] == pytest.approx(loudness[1], abs=0.3), "two seconds are gated coarsely"
    papers = write_papers(day, out)
    assert not papers.problems
    sheet = (out / "day delay sheet.csv").read_text(encoding="utf-8-sig").splitlines()
    assert len(sheet) == 1 + 5 * 3 and sheet[1].startswith("Take 1,Warm,")
    page = (out / "day report.html").read_text(encoding="utf-8")
    assert "side moved" in page and "between Take 3 and Take 4" in page
    assert page.count("page-break-before: always") == 5 and page.count("<svg") == 6

    # What is changed after its delivery is not delivered any more.
    changed = edits.with_gain(one, one.lane_named("near").id, -1.0)
    save(changed, day.takes[4].session)
    assert refreshed(day.takes[4]).state == "decided"

    # Papers that are there stay; a take that changed is named, not told as what was never delivered.
    again = write_papers(day, out)
    assert [path.name for path in again.paths][2] == "day report (2).html"
    assert (out / "day report.html").read_text(encoding="utf-8") == page
    assert len((out / "day delay sheet (2).csv").read_text(encoding="utf-8-sig").splitlines()) == 1 + 4 * 3
    (problem,) = again.problems
    assert problem.startswith("Take 5 changed after it was delivered")
    assert write_papers(day, out, overwrite=True).paths == papers.paths


def test_each_takes_own_timing_is_there_after_other_decisions(tmp_path: Path) -> None:
    day = work(listed([write_day(tmp_path / "day", 1)]).day, Measure())
    day = work(day, Accept())
    own = load(day.takes[0].session).current_version
    assert own.moves
    model = setup_of(load(day.takes[0].session), replace(own, moves={}), "as recorded")
    for timing, name in (("recorded", "Day"), ("model", "Day"), ("model", "Night"), ("recorded", "Third")):
        day = work(day, Decide(model, name, timing))
        assert not any(
            move.shift_samples for move in load(day.takes[0].session).current_version.moves.values()
        )
    day = work(day, Decide(model, "Day"))
    made = load(day.takes[0].session).current_version
    assert made.name == "Day" and made.moves == own.moves and made.origins == own.origins
    day = work(day, Decide(model, "Day", "recorded"))
    day = work(day, Decide(model, "Day"))
    assert load(day.takes[0].session).current_version.moves == own.moves


def test_a_bad_take_is_listed_and_can_be_tried_again(tmp_path: Path) -> None:
    root = write_day(tmp_path / "day", 2)
    day = listed([root]).day
    hidden = root / "Take 1" / "near.wav"
    data = hidden.read_bytes()
    hidden.write_bytes(b"")
    (root / "Take 1" / "room.wav").rename(root / "room.wav")
    bad = done(Asked(day.takes[0], Measure())).take
    assert bad.state == "new" and "room.wav" in bad.error
    hidden.write_bytes(data)
    (root / "room.wav").rename(root / "Take 1" / "room.wav")
    good = done(Asked(bad, Measure())).take
    assert good.state == "measured" and not good.error


@pytest.mark.skipif(sys.platform != "linux", reason="only there may a file have such a name")
def test_names_that_are_no_utf_8_are_measured_told_and_saved(tmp_path: Path) -> None:
    root = write_day(tmp_path / "day", 2)
    sound, rate = soundfile.read(root / "Take 1" / "near.wav")
    sound[60_000:60_300] = 1.0
    soundfile.write(root / "Take 1" / "near.wav", sound, rate, "PCM_24")
    for number in (1, 2):
        near = root / f"Take {number}" / "near.wav"
        odd = near.rename(near.with_name("n\udce9ar.wav"))
    day = listed([root]).day
    first = done(Asked(day.takes[0], Measure())).take
    assert first.state == "measured" and any("n\ufffdar" in said for said in (*first.faults, *first.notes))
    odd.unlink()
    (odd.parent / "side.wav").unlink()
    second = done(Asked(day.takes[1], Measure())).take
    assert "n\ufffdar.wav" in second.error
    day = day.with_take(first).with_take(second)
    save_day(day, tmp_path / "x.lagline-day")
    assert load_day(tmp_path / "x.lagline-day") == day


def test_what_is_on_a_desk_comes_back_and_is_not_saved(tmp_path: Path) -> None:
    take = listed([write_day(tmp_path / "day", 1)]).day.takes[0]
    session, known = session_of(take)
    assert known is None
    outcome = done(Asked(take, Measure(), session))
    assert outcome.session is not None and outcome.session.alignment is not None
    assert not take.session.exists() and outcome.take.is_measured


def test_work_goes_through_worker_processes_and_can_be_stopped(tmp_path: Path) -> None:
    day = listed([write_day(tmp_path / "day", 3)]).day
    outcomes: list[Outcome] = []
    paces: list[str] = []
    work_on(
        [Asked(take, Measure()) for take in day.takes],
        workers=1,
        told=outcomes.append,
        progress=lambda pace: paces.append(pace.words),
        cancelled=lambda: len(outcomes) > 0,
    )
    assert 1 <= len(outcomes) < 3 and outcomes[0].take.is_measured
    saved = [take for take in day.takes if take.session.exists()]
    assert len(saved) == len(outcomes)
    assert paces[0] == "0 of 3" and paces[-1].startswith(f"{len(outcomes)} of 3")


def test_the_time_left_follows_the_pace() -> None:
    now = [0.0]
    pace = Pace(40, clock=lambda: now[0])
    pace.step()
    assert pace.words == "1 of 40"
    now[0] = 20.0
    pace.step()
    assert pace.words == "2 of 40, about 6 min left"
    for _ in range(38):
        pace.step()
    assert pace.words == "40 of 40" and pace.fraction == 1.0


def test_five_hundred_takes_are_saved_and_read(tmp_path: Path, measured: Day) -> None:
    takes = tuple(replace(measured.takes[n % 5], name=f"Take {n}") for n in range(500))
    save_day(replace(measured, takes=takes), tmp_path / "x.lagline-day")
    assert len(load_day(tmp_path / "x.lagline-day").takes) == 500
