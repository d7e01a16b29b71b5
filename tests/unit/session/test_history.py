"""The history on disk: small, bounded, and read back as it was."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from tests.support.full_session import full_session
from tests.support.random_sessions import sessions

from lagline.session.edits import nudged, with_gain
from lagline.session.history import MOST_BYTES, MOST_KEPT_STEPS, History, packed, unpacked
from lagline.session.values import Session


def through_disk(history: History, folder: Path) -> History:
    fields = msgspec.json.decode(msgspec.json.encode(packed(history, folder)))
    return unpacked(fields, history.current, folder)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(states=st.lists(sessions(), min_size=1, max_size=4), at=st.integers(0, 3))
def test_any_history_is_read_back_equal(states: list[Session], at: int, tmp_path: Path) -> None:
    names = tuple(f"Step {number}" for number in range(len(states) - 1))
    history = History(tuple(states), names, at % len(states))
    assert through_disk(history, tmp_path) == history


def many_steps(folder: Path, steps: int) -> History:
    states = [full_session(folder)]
    for step in range(steps):
        lane = states[-1].lanes[step % 2].id
        edit = with_gain if step % 3 else nudged
        states.append(edit(states[-1], lane, -float(step % 20) - 0.5))
    return History(tuple(states), tuple(f"Step {n}" for n in range(steps)), steps)


def test_what_states_share_is_written_once(tmp_path: Path) -> None:
    history = many_steps(tmp_path, 100)
    text = msgspec.json.encode(packed(history, tmp_path))
    assert len(text) < 100 * 1_000
    assert text.count(b"Invented warning") == 0  # what was measured stands in the session itself
    assert through_disk(history, tmp_path) == history


def test_the_steps_next_to_the_current_session_are_kept(tmp_path: Path) -> None:
    history = many_steps(tmp_path, MOST_KEPT_STEPS + 50)
    found = through_disk(history, tmp_path)
    assert (
        found.at == MOST_KEPT_STEPS
        and found.states == history.states[50:]
        and found.names == history.names[50:]
    )


def test_large_steps_end_it_early(tmp_path: Path) -> None:
    first = full_session(tmp_path)
    states = tuple(replace(first, notes=str(n) * (MOST_BYTES // 3)) for n in range(9))
    found = through_disk(History(states, tuple("abcdefgh"), 4), tmp_path)
    assert found.current == states[4] and len(found.states) == 3
    assert len(msgspec.json.encode(packed(History(states, tuple("abcdefgh"), 4), tmp_path))) < 2 * MOST_BYTES


NONSENSE: list[Any] = [
    {"states": [{"lanes": [7]}, {}]},
    {"states": [{"lanes": [-1]}, {}]},
    {"states": [{"lanes": 0}, {}]},
    {"states": [{"notes": [0]}, {}]},
    {"states": [{"nothing like that": 0}, {}]},
    {"states": [{"rate_hz": 0}, {}], "parts": [0]},
    {"states": [{"rate_hz": 0}, {}], "parts": ["fast"]},
    {"states": [{}]},
    {"at": -1},
    {"names": 3},
]


@pytest.mark.parametrize("changes", NONSENSE)
def test_nonsense_is_refused(tmp_path: Path, changes: dict[str, Any]) -> None:
    session = full_session(tmp_path)
    fields = {"names": ["Step"], "at": 1, "states": [{}, {}], "parts": []}
    assert unpacked(fields, session, tmp_path).states == (session, session)
    with pytest.raises(ValueError):
        unpacked({**fields, **changes}, session, tmp_path)
