"""The page on file formats names every key that is written, with its default, and no other."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from msgspec import Struct
from tests.support.click_take import write_click_take
from tests.support.invented_session import session
from typer.testing import CliRunner

from lagline.cli.alignment_json import SCHEMA, alignment_document
from lagline.cli.app import app
from lagline.day.values import Day, DayTake, Delivered, Facts, LaneFact
from lagline.deliver import manifest
from lagline.deliver.delivered import DeliveredFile, HeldLane
from lagline.deliver.manifest import Manifest
from lagline.jobs import batch_summary
from lagline.jobs.journal import LaneResult, TakeResult
from lagline.session import autosave, lock, plan, restore_points, setup, storage
from lagline.session.findings import (
    Alignment,
    Evidence,
    Finding,
    PairFinding,
    RunnerUp,
    SourceFinding,
    SourceLag,
    WindowCount,
)
from lagline.session.owner import Owner
from lagline.session.plan import Plan, PlannedLane
from lagline.session.setup import Setup, SetupLane
from lagline.session.values import (
    Balance,
    Before,
    Lane,
    Mark,
    Marker,
    Move,
    Origin,
    Ranked,
    Ranking,
    SameSound,
    Session,
    Source,
    Trial,
    Version,
)

PAGE = (Path(__file__).parents[3] / "assets" / "guide" / "file-formats.md").read_text(encoding="utf-8")
KINDS: tuple[type[Struct], ...] = (
    Session, Lane, Source, Version, Move, Balance, Mark, Marker, Ranking, Ranked, Origin, SameSound, Before,
    Trial, Alignment, Finding, RunnerUp, WindowCount, Evidence, PairFinding, SourceFinding,
    SourceLag, Setup, SetupLane, Plan, PlannedLane, Manifest, DeliveredFile, HeldLane, TakeResult, LaneResult,
    Owner, Day, DayTake, Facts, LaneFact, Delivered,
)  # fmt: skip


def section(heading: str) -> str:
    found = re.search(rf"^### {heading}\n(.*?)(?=^##|\Z)", PAGE, re.MULTILINE | re.DOTALL)
    assert found, f"no heading {heading}"
    return found.group(1)


def rows(heading: str) -> list[list[str]]:
    lines = [line for line in section(heading).splitlines() if line.startswith("| `")]
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines]


def default(field: msgspec.structs.FieldInfo) -> str:
    if field.default is not msgspec.NODEFAULT:
        written = msgspec.json.encode(field.default).decode()
        shown = written.replace(',"extra":{}', "")  # what is in it stands beside the other keys
        return f"`{shown}`"
    if field.default_factory is not msgspec.NODEFAULT:
        return f"`{msgspec.json.encode(field.default_factory()).decode()}`"
    return "must be there"


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_every_key_and_default_is_named_and_no_other(kind: type[Struct]) -> None:
    written = [
        (f"`{field.encode_name}`", default(field))
        for field in msgspec.structs.fields(kind)
        if field.name != "extra"
    ]
    assert [(key, left_out) for key, _, left_out in rows(kind.__name__)] == written
    assert all(words for _, words, _ in rows(kind.__name__))


def kinds_inside(kind: Any) -> Iterator[type[Struct]]:
    """Every Struct that a file of `kind` can hold."""
    if isinstance(kind, type) and issubclass(kind, Struct):
        yield kind
        for field in msgspec.structs.fields(kind):
            yield from kinds_inside(field.type)
    for part in getattr(kind, "__args__", ()):
        yield from kinds_inside(part)


@pytest.mark.parametrize("top", [Session, Setup, Plan, Manifest, TakeResult], ids=lambda kind: kind.__name__)
def test_no_kind_of_value_is_forgotten(top: type[Struct]) -> None:
    assert set(kinds_inside(top)) - set(KINDS) == set()


def test_schemas_versions_and_endings_are_those_that_are_written() -> None:
    for kind, ending in (
        (storage.KIND, storage.SUFFIX),
        (setup.KIND, setup.SUFFIX),
        (plan.KIND, plan.SUFFIX),
    ):
        assert (
            f'| {kind.word} | `{ending}` | `"schema": "{kind.schema}", "version": {kind.version}` |' in PAGE
        )
    assert SCHEMA in PAGE
    assert batch_summary.SCHEMA in PAGE
    assert manifest.SCHEMA in PAGE
    for ending in (lock.LOCK_ENDING, restore_points.POINTS_ENDING, autosave.AUTOSAVE_ENDING):
        assert f"`.NAME.lagline{'.TOKEN' * (ending == autosave.AUTOSAVE_ENDING)}{ending}`" in PAGE


def keys(document: Any, before: str = "") -> Iterator[str]:
    if isinstance(document, dict):
        for key, value in document.items():
            yield f"{before}{key}"
            yield from keys(value, f"{before}{key}.")
    elif isinstance(document, list):
        for value in document:
            yield from keys(value, f"{before.removesuffix('.')}[].")


def test_what_align_prints_is_named_key_by_key() -> None:
    found = session()
    assert found.alignment is not None
    pairs = (PairFinding("near", "room", -101.4, 0.9, 0.01),)
    sources = (SourceFinding("near", ("near",), 4, (SourceLag("room", 101.4, 0.5, 1),)),)
    full = msgspec.structs.replace(found.alignment, pairs=pairs, sources=sources)
    document = alignment_document(found, full)
    named = [row[0].strip("`") for row in rows("lagline align")]
    assert named == list(dict.fromkeys(keys(document)))


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_a_key_with_a_unit_says_its_sign_or_meaning(kind: type[Struct]) -> None:
    """A shift or an arrival without its sign is read the wrong way round half of the time."""
    for key, words, _ in rows(kind.__name__):
        if key in ("`arrival_samples`", "`shift_samples`", "`first_sound_samples`", "`drift_ppm`"):
            assert "positive" in words, f"{kind.__name__}.{key}"


def test_what_apply_prints_is_named_key_by_key(tmp_path: Path) -> None:
    take = write_click_take(tmp_path / "take", {"near": 0, "room": 96})
    pair = tmp_path / "pair.lagline-setup"
    setup.save_setup(setup.setup_of(take, take.current_version, "pair"), pair)
    done = CliRunner().invoke(app, ["apply", str(pair), str(tmp_path / "take"), "--json"])
    assert done.exit_code == 0, done.output
    named = [row[0].strip("`") for row in rows("lagline apply")]
    assert named == list(dict.fromkeys(keys(msgspec.json.decode(done.stdout))))


def test_what_combine_prints_is_named_key_by_key(tmp_path: Path) -> None:
    write_click_take(tmp_path / "take", {"near": 0, "far": 480})  # as recorded they comb
    done = CliRunner().invoke(
        app, ["combine", str(tmp_path / "take"), "--mend", "far + near, as recorded", "--json"]
    )
    assert done.exit_code == 0, done.output
    named = [row[0].strip("`") for row in rows("lagline combine")]
    document = msgspec.json.decode(done.stdout)
    assert len(document["combinations"]) == 6
    assert set(named) == set(keys(document))
