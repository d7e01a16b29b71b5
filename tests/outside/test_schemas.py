"""Every JSON document that is written keeps to its schema, by an outside validator (draft 2020-12)."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import msgspec
import pytest
from assets.schemas.made import FOLDER, encoded, schemas
from jsonschema import Draft202012Validator
from msgspec.structs import replace
from tests.support.click_take import write_click_take
from tests.support.invented_session import session as invented_session
from tests.support.takes import noise_take
from typer.main import get_command

from lagline.cli.app import OLD_NAMES, app
from lagline.cli.run import run
from lagline.day.asking import Asked, Measure
from lagline.day.document import save_day
from lagline.day.listing import listed
from lagline.day.values import Delivered
from lagline.day.work import done
from lagline.session import plan, setup, storage
from lagline.session.lock import held
from lagline.session.values import Mark, Ranked, Ranking, Trial

Json = Any
AFTER_DASHES = {  # what is printed behind --json, by command
    "align": "alignment-1",
    "apply": "apply-1",
    "batch": "batch-1",
    "check": "check-1",
    "combine": "combine-1",
    "machine": "machine-1",
    "plan": "plan-report-1",
    "verify": "verify-1",
}


class NoDesk:
    def open(self, paths: object) -> int:
        raise AssertionError("no window was asked for")


def validator(name: str, *, strict: bool = True) -> Draft202012Validator:
    """Of the schema as it is shipped; strict: no key that it does not name."""
    schema = json.loads(resources.files("lagline").joinpath("schemas", f"{name}.json").read_text("utf-8"))
    if strict:
        schema = copy.deepcopy(schema)
        for part in (schema, *schema["$defs"].values()):
            if "properties" in part:
                part["additionalProperties"] = False
    return Draft202012Validator(schema)


def problems(name: str, document: Json) -> list[str]:
    return [f"{error.json_path}: {error.message[:200]}" for error in validator(name).iter_errors(document)]


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A take with all that commands read."""
    folder = tmp_path_factory.mktemp("schemas")
    take = write_click_take(folder / "archive" / "take", {"near": 0, "far": 480})
    setup.save_setup(setup.setup_of(take, take.current_version, "pair"), folder / "pair.lagline-setup")
    storage.save(take, folder / "take.lagline")
    for layout in ("lanes", "take"):
        arguments = ["deliver", str(folder / "take.lagline"), "--layout", layout, "--edit", "linked"]
        assert run([*arguments, "--out", str(folder / layout)], NoDesk()) == 0
    return folder


WHEN = "2026-05-06T10:00:00+02:00"
PLAN = ("near=30cm", "far=5m", "di=2ms")


def arguments(command: str, place: Path) -> list[list[str]]:
    """Ways to call it that show all of its document."""
    take = str(place / "archive" / "take")
    return {
        "align": [[take]],
        "apply": [[str(place / "pair.lagline-setup"), take]],
        "batch": [[str(place / "archive"), "--out", str(place / "batch")]],
        "check": [[take], [str(place / "take.lagline")]],
        "combine": [[take], [take, "--mend", "far + near"]],
        "machine": [[]],
        "plan": [[*PLAN, "--notch", "near:far@400"], [*PLAN, "--against", take]],
        "verify": [[str(place / "lanes")], [str(place / "take"), "--recordings", take]],
    }[command]


def test_no_command_prints_json_without_a_schema() -> None:
    commands = get_command(app).commands  # type: ignore[attr-defined]
    printing = {
        name
        for name, command in commands.items()
        if name not in OLD_NAMES and any("--json" in option.opts for option in command.params)
    }
    assert printing == set(AFTER_DASHES)


@pytest.mark.parametrize("command", AFTER_DASHES)
def test_what_a_command_prints_keeps_to_its_schema(
    command: str, place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for words in arguments(command, place):
        capsys.readouterr()
        assert run([command, *words, "--json"], NoDesk()) in (0, 1, 3)
        text = capsys.readouterr().out
        documents = (
            [json.loads(line) for line in text.splitlines()] if command == "batch" else [json.loads(text)]
        )
        assert documents
        for document in documents:
            assert problems(AFTER_DASHES[command], document) == []


def test_files_keep_to_their_schemas(place: Path, tmp_path: Path) -> None:
    for layout in ("lanes", "take"):
        lists = [*(place / layout).rglob("delivery.json")]
        assert len(lists) == 2
        assert [problems("delivery-1", json.loads(path.read_text("utf-8"))) for path in lists] == [[], []]
    assert problems("setup-1", json.loads((place / "pair.lagline-setup").read_text("utf-8"))) == []
    day = listed([place / "archive"]).day
    take = done(Asked(day.takes[0], Measure())).take
    take = replace(take, delivered=Delivered(place / "out", "Shifted", "s"))
    day = replace(day.with_take(take), setup=setup.load_setup(place / "pair.lagline-setup"))
    save_day(day, tmp_path / "a.lagline-day")
    assert problems("day-1", json.loads((tmp_path / "a.lagline-day").read_text("utf-8"))) == []
    plan.save_plan(plan.Plan((plan.PlannedLane("near", (0.0, 1.0, 1.0)),)), tmp_path / "a.lagline-plan")
    assert problems("plan-1", json.loads((tmp_path / "a.lagline-plan").read_text("utf-8"))) == []


def test_a_session_with_all_that_one_can_hold_keeps_to_its_schema(tmp_path: Path) -> None:
    full = replace(
        invented_session(),
        trials=(Trial("abx", ("original", "v1"), 10, (True,) * 10, 0.001, "2026-05-06T10:00:00+02:00"),),
        marks={"a+b": Mark(3)},
        rankings=(
            Ranking((Ranked("v1", "Shifted", 3, 0.5, 0.4, 0.6),), 4, 0.2, "2026-05-06T10:00:00+02:00"),
        ),
        loop=(0, 100),
    )
    storage.save(full, tmp_path / "full.lagline")
    document = json.loads((tmp_path / "full.lagline").read_text("utf-8"))
    assert problems("session-2", document) == []
    kept = {**document, "x-mine": 1}  # keys of others are kept, so they are no fault
    assert validator("session-2", strict=False).is_valid(kept)


def test_a_name_that_is_no_text_keeps_to_the_schema(tmp_path: Path) -> None:
    take = noise_take(tmp_path / "in")
    source = replace(take.lanes[0].source, path=Path("/disc/caf\udce9.wav"))
    odd = replace(take, lanes=(replace(take.lanes[0], source=source),), anchor_id=None)
    storage.save(odd, tmp_path / "odd.lagline")
    assert problems("session-2", json.loads((tmp_path / "odd.lagline").read_text("utf-8"))) == []


def test_a_batch_leaves_documents_that_keep_to_their_schemas(place: Path) -> None:
    assert run(["batch", str(place / "archive"), "--out", str(place / "results")], NoDesk()) in (0, 3)
    lines = (place / "results" / "journal.jsonl").read_text("utf-8").splitlines()
    assert len(lines) == 2
    assert [problems("batch-1", json.loads(line)) for line in lines] == [[], []]
    assert (
        problems("batch-summary-1", json.loads((place / "results" / "summary.json").read_text("utf-8"))) == []
    )


def test_a_lock_keeps_to_its_schema(tmp_path: Path) -> None:
    with held(tmp_path / "a.lagline"):
        (path,) = tmp_path.glob(".*.lock")
        assert problems("lock-1", json.loads(path.read_text("utf-8"))) == []


def lost_key(document: Json) -> None:
    del document["files"][0]["sha256"]


def other_schema(document: Json) -> None:
    document["schema"] = "lagline/delivery/2"


def text_for_number(document: Json) -> None:
    document["rate_hz"] = "48000"


def no_polarity(document: Json) -> None:
    document["files"][0]["polarity"] = 0


def short_checksum(document: Json) -> None:
    document["files"][0]["sha256"] = "0" * 63


@pytest.mark.parametrize("damage", [lost_key, other_schema, text_for_number, no_polarity, short_checksum])
def test_a_document_that_is_not_one_is_refused(place: Path, damage: Callable[[Json], None]) -> None:
    document = json.loads((place / "lanes" / "delivery.json").read_text("utf-8"))
    damage(document)
    assert not validator("delivery-1", strict=False).is_valid(document)


def test_the_schemas_are_those_of_the_program_and_sound() -> None:
    """Made again after a change: python -m assets.schemas"""
    made = schemas()
    assert {path.name for path in FOLDER.iterdir()} == set(made)
    for name, schema in made.items():
        assert (FOLDER / name).read_bytes() == encoded(schema), name
        Draft202012Validator.check_schema(schema)
    assert len({schema["$id"] for schema in made.values()}) == len(made)
    assert all(schema["$id"].startswith("urn:") for schema in made.values())


def test_every_key_of_every_schema_is_told_in_words() -> None:
    untold = [
        f"{name}: {part.get('title')}.{key}"
        for name, schema in schemas().items()
        for part in (schema, *schema["$defs"].values())
        for key, one in part.get("properties", {}).items()
        if not one.get("description")
    ]
    assert untold == []


def test_msgspec_reads_what_the_schema_of_a_manifest_allows(place: Path) -> None:
    from lagline.deliver.manifest import Manifest

    data = (place / "take" / "aligned" / "delivery.json").read_bytes()
    assert msgspec.json.decode(data, type=Manifest).files[0].channels
