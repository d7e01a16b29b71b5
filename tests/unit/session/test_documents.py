"""What all our files share: old versions are brought up to date step by step."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace
from tests.support.full_session import full_session

from lagline.errors import SessionTooNew
from lagline.session.checks import MOST_LANES
from lagline.session.documents import DocumentKind, encoded, read_document, write_document
from lagline.session.findings import Alignment, Evidence, PairFinding
from lagline.session.storage import load, save

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


SIZE = 60 * 10**6
HEAD = '{"schema": "lagline/session", "version": 1, "rate_hz": 48000, '
BLOATED = {
    "another kind": ('{"schema": "x", "lanes": [', "[],", "[]]}"),
    "no kind": ("[", "[],", "[]]"),
    "empty lists": (HEAD + '"lanes": [', "[],", "[]]}"),
    "numbers": (HEAD + '"lanes": [', "1.5,", "0]}"),
    "words": (HEAD + '"note": [', '"ab",', '"ab"]}'),
    "unknown keys": (HEAD + '"lanes": [], "mine": [', '{"a":1},', "{}]}"),
    "a version of many parts": ('{"schema": "lagline/session", "version": [', "[],", "[]]}"),
}


@pytest.mark.skipif(sys.platform != "linux", reason="asks the system how much memory a process took at most")
@pytest.mark.parametrize("kind", BLOATED)
def test_a_large_document_is_refused_before_it_takes_memory(tmp_path: Path, kind: str) -> None:
    """The values of 60 MB of JSON take up to thirty times as much."""
    head, piece, tail = BLOATED[kind]
    path = tmp_path / "take.lagline"
    path.write_text(head + piece * (SIZE // len(piece)) + tail, "utf-8")
    code = (
        "import sys\nfrom pathlib import Path\n"
        "from lagline.errors import SessionUnreadable\nfrom lagline.session.storage import load\n"
        "try:\n    load(Path(sys.argv[1]))\nexcept SessionUnreadable:\n"
        # Of this program alone; getrusage counts what the parent held when it started it, too.
        "    peak = next(line for line in open('/proc/self/status') if line.startswith('VmHWM'))\n"
        "    print(int(peak.split()[1]) // 1000)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, path], stdout=subprocess.PIPE, text=True, check=True)
    assert int(done.stdout) < 250, f"{done.stdout.strip()} MB"


def test_a_session_of_a_thousand_measured_lanes_is_read(tmp_path: Path) -> None:
    """As many lanes as a session holds, all measured."""
    small = full_session(tmp_path)
    assert small.alignment is not None
    lanes = tuple(replace(small.lanes[0], id=f"l{n}", name=f"Lane {n}") for n in range(MOST_LANES))
    finding = small.alignment.findings[0]
    thousand = tuple(number / 7 for number in range(1_000))
    rich = Evidence(curve=thousand * 2, coherence_hz=thousand, coherence=thousand, phase_rad=thousand)
    findings = tuple(replace(finding, lane_id=lane.id, evidence=rich) for lane in lanes)
    pairs = tuple(PairFinding(lanes[n % MOST_LANES].id, "l1", n / 7, 1.0, 0.1, 1) for n in range(20_000))
    measured = Alignment("l0", 48_000, findings, pairs)
    session = replace(
        small, lanes=lanes, versions=(replace(small.versions[0], moves={}, balances={}),), anchor_id="l0"
    )
    save(replace(session, alignment=measured), tmp_path / "take.lagline")
    assert (tmp_path / "take.lagline").stat().st_size > 50 * 10**6
    assert load(tmp_path / "take.lagline").alignment == measured
