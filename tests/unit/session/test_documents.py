"""What all our files share: old versions are brought up to date step by step."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from lagline.errors import SessionTooNew
from lagline.session.documents import DocumentKind, encoded, read_document, write_document

OLD = DocumentKind("list", "lagline/test", version=1, largest_bytes=1_000)
NEW = DocumentKind(
    "list",
    "lagline/test",
    version=3,
    largest_bytes=1_000,
    migrations={
        1: lambda fields: {**fields, "steps": ["1 to 2"]},
        2: lambda fields: {**fields, "steps": [*fields["steps"], "2 to 3"]},
    },
)


def test_old_files_go_through_every_step_in_order(tmp_path: Path) -> None:
    path = tmp_path / "old"
    write_document(path, {"kept": 1}, OLD)
    assert read_document(path, NEW) == {"kept": 1, "steps": ["1 to 2", "2 to 3"]}
    before = path.read_bytes()
    read_document(path, NEW)
    assert path.read_bytes() == before  # reading never writes


def test_a_new_file_needs_no_step_and_an_old_program_refuses_it(tmp_path: Path) -> None:
    path = tmp_path / "new"
    write_document(path, {"kept": 1}, NEW)
    assert read_document(path, NEW) == {"kept": 1}
    with pytest.raises(SessionTooNew, match="version 3; this one reads up to 1"):
        read_document(path, OLD)


@pytest.mark.parametrize("indented", [True, False])
def test_the_pieces_make_the_whole(indented: bool) -> None:
    fields = {
        "empty": [],
        "deep": {"list": [1, {"a": [None, "é"]}], "none": None, "x": 0.1},
        "list": [[1], "b"],
    }
    whole = msgspec.json.encode({"schema": OLD.schema, "version": 1, **fields})
    wanted = msgspec.json.format(whole, indent=1) if indented else whole
    assert encoded(fields, OLD, indented=indented) == wanted
