"""Damaged input to every reader: nothing comes out but errors of ours.

A few dozen inputs each, so that every change is checked; fuzz_readers.py does a hundred thousand.
"""

from __future__ import annotations

import random

import pytest
import typer.main
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.robustness.targets import TARGETS

from lagline.jobs import many


@pytest.fixture(autouse=True)
def own_pool(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(many, "_pool", many._pool)  # a target puts threads there; take it back
    monkeypatch.setattr(typer.main, "get_command", typer.main.get_command)  # and a memory there


@pytest.mark.parametrize("name", TARGETS)
def test_whole_input_is_read(name: str) -> None:
    outcomes = [TARGETS[name].run(seed) for seed in TARGETS[name].seeds()]
    assert outcomes.count("read") + outcomes.count("exit 0") >= min(len(outcomes), 1)
    if name == "audio files":
        assert outcomes == ["read"] * len(outcomes)


@pytest.mark.parametrize("name", TARGETS)
@given(seed=st.integers(0, 2**64))
@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_damaged_input_is_refused_in_words(name: str, seed: int) -> None:
    target, rng = TARGETS[name], random.Random(seed)
    seeds = target.seeds()
    target.run(target.damage(rng.choice(seeds), rng, seeds))


@pytest.mark.parametrize("name", [name for name in TARGETS if name != "command lines"])
@given(data=st.binary(max_size=200))
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_at_all(name: str, data: bytes) -> None:
    TARGETS[name].run(data)


def test_a_foreign_error_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """The test of the tests: a reader that raises anything else fails them."""
    from tests.robustness import target_documents

    def broken(_path: object) -> object:
        raise KeyError("schema")

    monkeypatch.setattr(target_documents, "load", broken)
    with pytest.raises(KeyError):
        TARGETS["session files"].run(TARGETS["session files"].seeds()[0])
