"""Balancing at constant loudness: shares and gains against the loudness of what is then rendered."""

from __future__ import annotations

import numpy as np
import pytest
from tests.support.array_clips import ArrayClip, session_of

from lagline.blend.loudness import LoudnessMeter
from lagline.blend.mix import blend
from lagline.combinations.balance import BalanceMeter, balance_meter, with_gains
from lagline.combinations.cells import Cell, cell_version, laid_out, parts_of
from lagline.session import edits
from lagline.session.edits import with_gain
from lagline.session.values import Move, Session, Version

RATE_HZ = 48_000
FRAMES = 3 * RATE_HZ
LANES = {
    "a": {"pan": -0.5},
    "b": {"gain_db": -9.0, "pan": 0.3, "link": "x"},
    "c": {"gain_db": 2.0, "link": "x"},
}


def take(**lanes: dict[str, object]) -> tuple[Session, dict[str, ArrayClip]]:
    rng = np.random.default_rng(6)
    sound = 0.05 * rng.standard_normal(FRAMES)
    clips = {
        "a": ArrayClip(sound),
        "b": ArrayClip(np.roll(sound, 40) + 0.02 * rng.standard_normal(FRAMES)),
        "c": ArrayClip(0.03 * rng.standard_normal(FRAMES)),
    }
    return session_of(clips, Version("v1", "Lined up", {"b": Move(-40.0)}), **(lanes or LANES)), clips


def measured(session: Session, clips: dict[str, ArrayClip], version_id: str = "v1") -> BalanceMeter:
    return balance_meter(session, cell_of(session, version_id), clips, 0, FRAMES)


def cell_of(session: Session, version_id: str = "v1") -> Cell:
    return laid_out(parts_of(session), (version_id,))[-1]


def rendered_lufs(session: Session, clips: dict[str, ArrayClip], cell: Cell) -> float:
    meter = LoudnessMeter(RATE_HZ)
    meter.add(blend(session, cell_version(session, cell), clips, 0, FRAMES))
    return meter.integrated_lufs()


@pytest.mark.parametrize("version_id", ["v1", "original"])
@pytest.mark.parametrize("shares", [(0.5, 0.5), (0.9, 0.1), (0.02, 0.98)])
def test_gains_give_the_shares_asked_for_at_the_same_loudness(version_id: str, shares: tuple[float, float]):
    session, clips = take()
    meter, cell = measured(session, clips, version_id), cell_of(session, version_id)
    before = rendered_lufs(session, clips, cell)
    assert meter.lufs(session) == pytest.approx(before, abs=0.05)
    moved = with_gains(session, cell, meter.gains_db(session, shares, meter.lufs(session)))
    assert rendered_lufs(moved, clips, cell) == pytest.approx(before, abs=0.05)
    assert meter.shares(moved) == pytest.approx(shares, abs=1e-6)
    b, c = (moved.current_version.balance(lane_id).gain_db for lane_id in "bc")
    assert c - b == pytest.approx(11.0), "linked lanes keep their difference"
    assert moved.current_version.moves == session.current_version.moves


def test_three_parts_go_to_any_corner_and_back():
    session, clips = take(a={"gain_db": -3.0}, b={}, c={})
    meter, cell = measured(session, clips), cell_of(session)
    shares, lufs = meter.shares(session), meter.lufs(session)
    assert len(shares) == 3 and sum(shares) == pytest.approx(1.0)
    moved = session
    for corner in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), shares):
        moved = with_gains(moved, cell, meter.gains_db(moved, corner, lufs))
        assert rendered_lufs(moved, clips, cell) == pytest.approx(lufs, abs=0.05)
    for lane_id in "abc":
        gain_db = session.current_version.balance(lane_id).gain_db
        assert moved.current_version.balance(lane_id).gain_db == pytest.approx(gain_db, abs=0.02)


def test_it_holds_for_other_gains_but_not_for_another_timing_or_pan():
    session, clips = take()
    meter = measured(session, clips)
    assert meter.holds_for(with_gain(session, "a", -7.0))
    assert not meter.holds_for(edits.with_pan(session, "a", 0.0))
    assert not meter.holds_for(edits.with_shift(session, "b", -39.0))


def test_one_part_has_nothing_to_be_balanced_against():
    session, clips = take()
    alone = laid_out(parts_of(session), ("v1",))[0]
    with pytest.raises(ValueError, match="2 or 3"):
        balance_meter(session, alone, clips, 0, FRAMES)
