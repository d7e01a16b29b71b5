"""By how much a version comes later than the original: known shifts, whichever lanes carry the sound."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace
from tests.support.array_clips import ArrayClip, session_of

from lagline.blend.mix import blend
from lagline.blend.same_moment import leads
from lagline.session.values import ORIGINAL, Balance, Move, Session, Version

FRAMES = 120_000


def clips(**levels: float) -> dict[str, ArrayClip]:
    rng = np.random.default_rng(4)
    return {key: ArrayClip(level * rng.standard_normal(FRAMES)) for key, level in levels.items()}


def lead(session: Session, sound: dict[str, ArrayClip]) -> int:
    return leads(session, session.versions, sound, 0, FRAMES)[0]


@pytest.mark.parametrize("shift", [-3_000, -1, 0, 1, 777, 20_000])
def test_all_lanes_moved_alike(shift: int):
    sound = clips(a=0.1, b=0.1)
    assert (
        lead(session_of(sound, Version(id="v1", name="x", moves={"a": Move(shift), "b": Move(shift)})), sound)
        == shift
    )
    upside_down = Version(id="v1", name="x", moves={"a": Move(shift, -1), "b": Move(shift, -1)})
    assert lead(session_of(sound, upside_down), sound) == shift


def test_the_louder_lane_carries_it():
    sound = clips(a=0.1, b=0.02)
    assert lead(session_of(sound, Version(id="v1", name="x", moves={"a": Move(500.0)})), sound) == 500
    assert lead(session_of(sound, Version(id="v1", name="x", moves={"b": Move(500.0)})), sound) == 0


def test_to_a_whole_sample():
    sound = clips(a=0.1)
    assert lead(session_of(sound, Version(id="v1", name="x", moves={"a": Move(12.4)})), sound) == 12


def test_silence_and_no_move_lead_nowhere():
    sound = clips(a=0.0)
    assert lead(session_of(sound, Version(id="v1", name="x", moves={"a": Move(99.0)})), sound) == 0
    assert leads(session_of(sound), (ORIGINAL,), sound, 0, FRAMES) == [0]


def test_blends_read_with_their_leads_match_best_at_zero_lag():
    """A direct sound and its copy in a farther lane: the whole, and not one lane, is brought together."""
    rng = np.random.default_rng(8)
    direct = rng.standard_normal(FRAMES)
    sound = {"a": ArrayClip(0.1 * direct), "b": ArrayClip(0.06 * np.roll(direct, 480))}
    session = session_of(sound, Version(id="v1", name="x", moves={"a": Move(480.0), "b": Move(0.0)}))
    later = lead(session, sound)
    original = blend(session, ORIGINAL, sound, 5_000, 40_000)[:, 0]
    best = max(
        range(-600, 601),
        key=lambda lag: abs(
            float(original @ blend(session, session.versions[0], sound, 5_000 + later + lag, 40_000)[:, 0])
        ),
    )
    assert best == 0


def test_each_version_is_set_against_its_own_balance_as_recorded():
    """Leaving out the near lane is no reason to be read later: nothing was moved."""
    rng = np.random.default_rng(8)
    direct = rng.standard_normal(FRAMES)
    sound = {"a": ArrayClip(0.1 * direct), "b": ArrayClip(0.06 * np.roll(direct, 480))}
    far = Version("v1", "Far alone", {}, {"a": Balance(mute=True)})
    moved = Version("v2", "Far alone, earlier", {"b": Move(-480.0)}, {"a": Balance(mute=True)})
    both = Version("v3", "Both", {"a": Move(480.0)})
    session = replace(session_of(sound), versions=(far, moved, both))
    apart = [leads(session, (version,), sound, 0, FRAMES)[0] for version in session.versions]
    assert apart[:2] == [0, -480]
    assert leads(session, session.versions, sound, 0, FRAMES) == apart
