"""The schemas: one for each kind of document, draft 2020-12.

Types, defaults and what must be there are the program's own; the words for each key are the guide's, from its
page of file formats.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args, get_type_hints

import msgspec
from msgspec import Struct

from lagline.cli import documents
from lagline.day import document
from lagline.day.values import Day
from lagline.deliver.manifest import Manifest
from lagline.deliver.own import SCHEMA as DELIVERY
from lagline.jobs.batch_summary import SCHEMA as SUMMARY
from lagline.jobs.journal import TakeResult
from lagline.session import plan, setup, storage
from lagline.session.documents import DocumentKind
from lagline.session.owner import Owner
from lagline.session.plan import Plan
from lagline.session.setup import Setup
from lagline.session.values import Session

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "app" / "lagline" / "schemas"
PAGE = ROOT / "assets" / "guide" / "file-formats.md"
DIALECT = "https://json-schema.org/draft/2020-12/schema"

Json = dict[str, Any]
# What no type says.
SAID: dict[str, Json] = {
    "polarity": {"enum": [1, -1]},
    "sha256": {"pattern": "^[0-9a-f]{64}$"},
    "trust": {"minimum": 0, "maximum": 1},
    "polarity_trust": {"minimum": 0, "maximum": 1},
}


def schemas() -> dict[str, Json]:
    """Every schema by the name of its file."""
    words = _page_words()
    found = {}
    kinds = ((storage.KIND, Session), (setup.KIND, Setup), (plan.KIND, Plan), (document.KIND, Day))
    for kind, top in kinds:
        found |= _named(kind.schema, kind.version, _file(kind, top, words))
    found |= _named("delivery", 1, _held(Manifest, words, schema=DELIVERY))
    found |= _named("batch", 1, _batch_line(words))
    found |= _named("batch-summary", 1, _batch_summary(words))
    found |= _named("lock", 1, _held(Owner, words))
    for top in _printed():
        (told,) = get_args(get_type_hints(top)["schema"])
        found |= _named(told.removesuffix("/1"), 1, _printed_schema(top, words))
    return found


def _printed() -> Iterator[Any]:
    for value in vars(documents).values():
        if isinstance(value, type) and "schema" in getattr(value, "__annotations__", {}):
            yield value


def _named(kind: str, version: int, schema: Json) -> dict[str, Json]:
    name = f"{kind.removeprefix('lagline/')}-{version}"
    head = {"$schema": DIALECT, "$id": f"urn:lagline:schema:{name}", "title": f"Lagline: {name}"}
    return {f"{name}.json": {**head, **schema}}


def _file(kind: DocumentKind, top: type[Struct], words: dict[str, dict[str, str]]) -> Json:
    """A session, setup or plan: two keys before its own, and unknown ones kept."""
    schema = _held(top, words, schema=kind.schema)
    own = schema["$defs"][top.__name__]
    own["properties"]["version"] = {"const": kind.version, "description": "of the format"}
    own["required"] = [*own.get("required", []), "version"]
    return schema


def _held(top: type[Struct], words: dict[str, dict[str, str]], schema: str | None = None) -> Json:
    """The schema of a value; what it is made of stands under `$defs`."""
    (whole,), parts = _components(top)
    for name, part in parts.items():
        _tell(part, words.get(name, {}))
    if schema is not None:
        own = parts[top.__name__]
        own["properties"]["schema"] = {"const": schema, "description": "what kind of document this is"}
        own["required"] = list(dict.fromkeys([*own.get("required", []), "schema"]))
    return {**whole, "$defs": parts}


def _batch_line(words: dict[str, dict[str, str]]) -> Json:
    """A line of a journal, or of what `lagline batch --json` prints."""
    result = _held(TakeResult, words)
    head = {
        "title": "Head",
        "description": "The first line of a journal.",
        "type": "object",
        "properties": {
            "schema": {"const": "lagline/batch/1", "description": "what kind of document this is"},
            "asked": {"type": "string", "description": "what was asked for, in words"},
        },
        "required": ["schema", "asked"],
    }
    parts = {**result["$defs"], "Head": head}
    return {"oneOf": [{"$ref": "#/$defs/Head"}, {"$ref": "#/$defs/TakeResult"}], "$defs": parts}


def _batch_summary(words: dict[str, dict[str, str]]) -> Json:
    counts = {"takes": "of the archive", "failed": "that could not be measured", "faulty": "with faults"}
    properties: Json = {"schema": {"const": SUMMARY, "description": "what kind of document this is"}}
    for key, said in counts.items():
        properties[key] = {"type": "integer", "minimum": 0, "description": f"how many takes {said}"}
    properties["results"] = {
        "type": "array", "items": {"$ref": "#/$defs/TakeResult"}, "description": "sorted by take",
    }  # fmt: skip
    top = {"type": "object", "properties": properties, "required": list(properties)}
    return {**top, "$defs": _held(TakeResult, words)["$defs"]}


def _printed_schema(top: Any, words: dict[str, dict[str, str]]) -> Json:
    """What a command prints. The guide names its keys along the way: `lanes[].name`."""
    (whole,), parts = _components(top)
    told = words[top.__doc__.strip(".").strip("`")]

    def follow(name: str, before: str) -> None:
        part = parts[name]
        _tell(part, {key: told[before + key] for key in part["properties"]})
        for key, inner in part["properties"].items():
            for reference in re.findall(r"#/\$defs/(\w+)", str(inner)):
                follow(reference, f"{before}{key}{'[]' if inner.get('type') == 'array' else ''}.")

    follow(top.__name__, "")
    return {**whole, "$defs": parts}


def _components(top: Any) -> tuple[tuple[Json, ...], dict[str, Json]]:
    schemas, parts = msgspec.json.schema_components([top], schema_hook=_path, ref_template="#/$defs/{name}")
    for part in parts.values():
        properties = part.get("properties", {})
        for place in (properties, *(one["default"] for one in properties.values() if "default" in one)):
            if isinstance(place, dict):
                place.pop("extra", None)  # what is in it stands beside the other keys
        for key, more in SAID.items():
            if key in properties:
                _said(properties[key], more)
    return schemas, parts


def _said(schema: Json, more: Json) -> None:
    for inner in schema.get("anyOf", [schema]):
        if inner.get("type") != "null":
            inner |= more


def _path(kind: type) -> Json:
    """How a path stands in a file."""
    if kind is not Path:
        raise TypeError(f"no document holds a {kind.__name__}")
    in_bytes = {"type": "object", "properties": {"bytes_hex": {"type": "string"}}, "required": ["bytes_hex"]}
    return {"anyOf": [{"type": "string"}, in_bytes]}


def _tell(part: Json, words: dict[str, str]) -> None:
    for key, schema in part.get("properties", {}).items():
        if key in words:
            schema["description"] = words[key]


def _page_words() -> dict[str, dict[str, str]]:
    """What the guide's tables say of each key, by heading."""
    found: dict[str, dict[str, str]] = {}
    heading = ""
    for line in PAGE.read_text("utf-8").splitlines():
        if line.startswith("#"):
            heading = line.lstrip("# ")
        elif line.startswith("| `"):
            key, words, *_ = (cell.strip() for cell in line.strip("|").split(" | "))
            found.setdefault(heading, {})[key.strip("`")] = words
    return found


def encoded(schema: Json) -> bytes:
    return msgspec.json.format(msgspec.json.encode(schema), indent=1) + b"\n"
