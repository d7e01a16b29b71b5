"""Readers of sessions, setups, plans and batch journals, as functions of bytes."""

from __future__ import annotations

import contextlib
import random
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path

import msgspec
from tests.robustness.mutation import damaged_bytes, damaged_json
from tests.robustness.target import folder, outcome
from tests.support.full_session import full_session

from lagline.deliver.sheet import delay_sheet
from lagline.deliver.sheet_text import sheet_csv, sheet_text
from lagline.jobs.journal import NAME, LaneResult, TakeResult, _Head, read_journal
from lagline.jobs.sources import source_problems
from lagline.session import edits
from lagline.session.plan import Plan, PlannedLane, load_plan, save_plan
from lagline.session.setup import applied, load_setup, matched_lanes, save_setup, setup_of
from lagline.session.storage import load, save
from lagline.session.values import Session


def _document_seed(write: Callable[[Path], object], name: str) -> bytes:
    path = folder() / f"seed-{name}"
    write(path)
    return path.read_bytes()


@cache
def session_seeds() -> tuple[bytes, ...]:
    small = Session(rate_hz=44_100, lanes=())
    return tuple(
        _document_seed(lambda path, session=session: save(session, path), "session")
        for session in (full_session(folder()), small)
    )


def read_session(data: bytes) -> str:
    """Open, look at, edit and keep it: whatever loads must survive all of that."""
    path = folder() / "input.lagline"
    path.write_bytes(data)

    def read() -> None:
        session = load(path)
        session.span(*session.versions)
        session.audible_lanes(session.original)
        for version in session.versions[:4]:
            sheet = delay_sheet(session, version)
            assert sheet_csv(sheet) and sheet_text(sheet)
        source_problems(session)
        for lane in session.lanes[:4]:
            with contextlib.suppress(ValueError):  # at the end of the scale; the desk shows the sentence
                edits.nudged(session, lane.id, 1.5)
            edits.with_polarity(session, lane.id, -1)
            edits.without_lane(session, lane.id)
        if session.alignment is not None:
            edits.all_accepted(session)
        again = folder() / "again.lagline"
        save(session, again)
        assert load(again) == session

    return outcome(read)


@cache
def setup_seeds() -> tuple[bytes, ...]:
    session = full_session(folder())
    setup = setup_of(session, session.current_version, "Usual")
    return (_document_seed(lambda path: save_setup(setup, path), "setup"),)


def read_setup(data: bytes) -> str:
    path = folder() / "input.lagline-setup"
    path.write_bytes(data)

    def read() -> None:
        setup = load_setup(path)
        session = full_session(folder())
        applied(setup, session, matched_lanes(setup, session))
        save_setup(setup, folder() / "again.lagline-setup")
        assert load_setup(folder() / "again.lagline-setup") == setup

    return outcome(read)


@cache
def plan_seeds() -> tuple[bytes, ...]:
    lanes = (
        PlannedLane("Close", (0.3, 0.0, 1.0)),
        PlannedLane("Room", distance_m=3.5, level_db=-6.0, polarity=-1),
        PlannedLane("DI", latency_ms=1.2),
    )
    return (_document_seed(lambda path: save_plan(Plan(lanes, anchor="Room"), path), "plan"),)


def read_plan(data: bytes) -> str:
    from lagline.jobs import plan as jobs

    path = folder() / "input.lagline-plan"
    path.write_bytes(data)

    def read() -> None:
        plan = load_plan(path)
        with contextlib.suppress(FloatingPointError):
            jobs.arrivals(plan)
        if len(plan.lanes) < 8:
            jobs.pairs(plan)
        jobs.setup_of_plan(plan)
        save_plan(plan, folder() / "again.lagline-plan")
        assert load_plan(folder() / "again.lagline-plan") == plan

    return outcome(read)


@cache
def journal_seeds() -> tuple[bytes, ...]:
    lane = LaneResult("Near", "strong", -101.4, -1, 101.4, "agrees", 0.1)
    takes = [TakeResult(f"take {n}", "done", "", 48_000, "Room", (lane,), ("Invented",)) for n in range(3)]
    lines = [_Head("asked"), *takes, TakeResult("bad", "failed", "Invented error")]
    return (b"".join(msgspec.json.encode(line) + b"\n" for line in lines),)


def damaged_lines(data: bytes, rng: random.Random, others: Sequence[bytes] = ()) -> bytes:
    lines = data.split(b"\n")
    at = rng.randrange(len(lines))
    lines[at] = damaged_json(lines[at], rng, others)
    return b"\n".join(lines) if rng.random() < 0.7 else damaged_bytes(data, rng, others)


def read_batch_journal(data: bytes) -> str:
    place = folder() / "batch"
    place.mkdir(exist_ok=True)
    (place / NAME).write_bytes(data)
    return outcome(lambda: read_journal(place, "asked"))
