"""Versions mixed from single lanes: the very bits of their blends, at their moments, from few signals."""

from __future__ import annotations

import numpy as np
import pytest
from tests.support.array_clips import noise_clips, session_of

from lagline.blend.mix import blend
from lagline.combinations.cells import board_session, laid_out, parts_of
from lagline.playback import mixdown
from lagline.playback.mixdown import Mixdown, Scratch
from lagline.session.values import Move, Session, Version

SHIFTS = {"a": Move(12.25), "b": Move(-7.0, -1), "c": Move(0.5, 1, 3.0), "d": Move(40.0)}
LANES = {"a": {"gain_db": -3.0, "pan": -1.0}, "b": {"pan": 0.25}, "c": {"gain_db": 2.0}, "d": {"pan": 1.0}}


def board() -> Session:
    session = session_of(noise_clips(4, 10_000), Version("v1", "Lined up", SHIFTS), **LANES)
    return board_session(session, laid_out(parts_of(session), ("original", "v1"), 15))


def mixed(made: Mixdown, slot: int, position: int, frames: int) -> np.ndarray:
    out = np.empty((frames, 2), np.float32)
    signals = made.render(noise_clips(4, 10_000), position, frames)
    Scratch(frames).mix(signals, 0, made.parts[slot], out)
    return out


@pytest.mark.parametrize("lead", [0, 23])
def test_what_is_mixed_is_the_blend_to_the_bit(lead: int):
    session, clips = board(), noise_clips(4, 10_000)
    versions = (session.original, *session.versions)
    leads = {version.id: lead for version in versions[::3]}
    made = Mixdown(session, versions, leads)
    assert len(made.parts) == 31
    for slot, version in enumerate(versions):
        wanted = blend(session, version, clips, 3_000 + leads.get(version.id, 0), 500)
        assert np.array_equal(mixed(made, slot, 3_000, 500), wanted), version.name


def test_thirty_cells_of_four_lanes_are_made_of_eight_signals():
    session = board()
    assert Mixdown(session, session.versions, {}).count == 8


def test_where_moments_take_too_many_signals_the_rest_keep_the_clock(monkeypatch: pytest.MonkeyPatch):
    session, clips = board(), noise_clips(4, 10_000)
    leads = {version.id: number for number, version in enumerate(session.versions)}
    assert Mixdown(session, session.versions, leads).count > 20
    monkeypatch.setattr(mixdown, "MOST_SIGNALS", 20)
    made = Mixdown(session, session.versions, leads)
    assert made.count <= 20 + 8
    kept = 0
    for slot, version in enumerate(session.versions):
        sound = mixed(made, slot, 3_000, 300)
        at_moment = np.array_equal(sound, blend(session, version, clips, 3_000 + leads[version.id], 300))
        assert at_moment or np.array_equal(sound, blend(session, version, clips, 3_000, 300))
        kept += at_moment
    assert 3 < kept < len(session.versions)
