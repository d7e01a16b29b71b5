"""Any take that can be measured can be saved, loaded equal, printed as JSON and reported.

A few takes by default; LAGLINE_RANDOM_TAKES=500 tries as many generated ones and all of ../shared/real-takes.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import msgspec
import numpy as np
import pytest
import soundfile
from tests.support import real_takes
from tests.support.scenarios import FAMILIES, Scenario, scenario

from lagline.cli.alignment_json import alignment_document
from lagline.jobs.line_up import line_up
from lagline.jobs.open_take import open_take
from lagline.jobs.write_report import report_page
from lagline.session import edits, storage
from lagline.session.values import Session

TAKES = int(os.environ.get("LAGLINE_RANDOM_TAKES", "4"))
IS_LONG = "LAGLINE_RANDOM_TAKES" in os.environ
SEEDS = 500_000  # of this test alone
# Two in which pairs of lanes have no fitting candidate.
REAL = (
    sorted(folder.name for folder in real_takes.ROOT.glob("*/"))
    if IS_LONG
    else ["kick", "kitB_tom2_phrase_9mics"]
)
TYPES = {bool, int, float, str, dict, list, type(None)}


def measured(recordings: list[Path]) -> Session:
    session = open_take(recordings).session
    return edits.with_alignment(session, line_up(session))


def leaves(session: Session, folder: Path) -> None:
    alignment = session.alignment
    assert alignment is not None
    assert {type(value) for value in _values(msgspec.to_builtins(alignment))} <= TYPES | {tuple}
    document = alignment_document(session, alignment)
    assert json.loads(msgspec.json.encode(document)) == document
    path = folder / "take.lagline"
    storage.save(session, path)
    assert storage.load(path) == session
    assert all(lane.name in report_page(session, session.current_version) for lane in session.lanes)


def _values(value: object) -> list[object]:
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list | tuple) else ()
    return [value, *(deep for one in inner for deep in _values(one))]


@pytest.mark.slow
@pytest.mark.timeout(0)
@pytest.mark.real_takes
@pytest.mark.parametrize("name", REAL)
def test_real_takes(name: str, tmp_path: Path) -> None:
    leaves(measured(real_takes.take(name)), tmp_path)


@pytest.mark.skipif(not IS_LONG, reason="minutes long: set LAGLINE_RANDOM_TAKES")
@pytest.mark.timeout(0)
@pytest.mark.real_takes
@pytest.mark.parametrize("count", [15, 24])
def test_lanes_of_several_kits_at_once(count: int, tmp_path: Path) -> None:
    """Many lanes that have nothing in common: pairs without a fitting candidate are certain among them."""
    kits = ("kitA_fill_toms_7mics", "kitB_tom2_phrase_9mics", "kitB_hihatopen_phrase_8mics")
    leaves(measured([path for name in kits for path in real_takes.take(name)][:count]), tmp_path)


@pytest.mark.slow
@pytest.mark.timeout(0)
@pytest.mark.parametrize("number", range(TAKES))
def test_generated_takes(number: int, tmp_path: Path) -> None:
    """One or two scenarios of any family thrown together, 2 to 24 lanes, some silent, some alone."""
    rng = np.random.default_rng(SEEDS + number)
    makers = list(FAMILIES)
    parts = [
        scenario(makers[int(rng.integers(len(makers)))], number, SEEDS + part)
        for part in range(1 + number % 2)
    ]
    recordings = written(parts, tmp_path, rng)
    leaves(measured(recordings), tmp_path)


def written(parts: list[Scenario], folder: Path, rng: np.random.Generator) -> list[Path]:
    paths = []
    for part, made in enumerate(parts):
        for name, samples in made.lanes.items():
            short = samples[: 4 * made.rate_hz]
            level = 0.0 if len(paths) > 1 and rng.random() < 0.1 else 1.0
            paths.append(folder / f"{part} {name}.wav")
            soundfile.write(paths[-1], level * short / max(np.abs(short).max(), 1e-9), made.rate_hz, "FLOAT")
    return paths[:24]
