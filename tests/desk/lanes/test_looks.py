from msgspec.structs import replace
from tests.support.sessions import session

from lagline.desk.lanes.looks import FULL, StackLook, fitting_scale, look_of, shift_targets
from lagline.desk.theme import DARK
from lagline.desk.timeview import TimeView
from lagline.session.edits import with_alignment, with_shift
from lagline.session.findings import Alignment, Finding, RunnerUp
from lagline.session.values import Session


def look(value: Session, *, behind: bool = False):
    shared = StackLook(TimeView(0, 10), value.current_version, DARK, anchor_behind=behind)
    return look_of(value, value.lane("near"), 0, shared, {})


def test_a_lane_is_drawn_at_its_shift_with_its_old_place_behind() -> None:
    moved = look(with_shift(session(), "near", 101.5))
    assert moved.wave.at_samples == 101.5
    assert moved.ghost is not None and moved.ghost.at_samples == 0
    assert look(session()).ghost is None
    assert look(with_shift(session(), "near", 4.0)).ghost is None  # less than half a pixel


def test_the_anchor_lies_behind_the_others_only() -> None:
    value = with_shift(session(), "room", 30)
    behind = look(value, behind=True)
    assert behind.anchor is not None and behind.anchor.at_samples == 30
    shared = StackLook(TimeView(0, 10), value.current_version, DARK, anchor_behind=True)
    assert look_of(value, value.lane("room"), 1, shared, {}).anchor is None


def test_scales_fill_the_height_in_steps() -> None:
    assert fitting_scale(1.0) == FULL
    assert FULL / 0.5 / 10 ** (3 / 20) <= fitting_scale(0.5) <= FULL / 0.5
    assert fitting_scale(0.0) == FULL
    assert fitting_scale(1e-9) < 1_001


def test_magnet_targets_are_seen_from_where_the_anchor_is() -> None:
    finding = Finding(
        "near",
        -96.0,
        0.1,
        1,
        0.9,
        "strong",
        "",
        first_sound_samples=-95.0,
        best_fit_samples=-96.0,
        runners_up=(RunnerUp(-50.0, -1, 0.4),),
    )
    anchor = Finding("room", 0.0, 0.0, 1, 1.0, "strong", "")
    value = with_alignment(session(), Alignment("room", 48_000, (finding, anchor)))
    assert set(shift_targets(value, "near")) == {96.0, 95.0, 50.0, 0.0}
    assert set(shift_targets(with_shift(value, "room", 10), "near")) == {106.0, 105.0, 60.0, 0.0}
    assert shift_targets(replace(value, alignment=None), "near") == (0.0,)
    assert shift_targets(value, "room") == (0.0,)
