"""Quiet where asked, tables as CSV, and the exit codes that the guide promises."""

from __future__ import annotations

import csv
import io
import json
import re
import sys
from pathlib import Path

import pytest
from tests.support.click_take import write_click_take
from tests.support.desk_door import NotedDesk
from typer.main import get_command

from lagline.cli.app import app
from lagline.cli.run import run
from lagline.session import setup, storage

GUIDE = (Path(__file__).parents[3] / "assets" / "guide" / "commands.md").read_text("utf-8")
PLAN = ("near=30cm", "far=5m", "di=2ms")


def lagline(*words: object) -> int:
    return run([str(word) for word in words], NotedDesk())


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A take of two lanes with a file that can't be read, a session, a setup, a delivery."""
    folder = tmp_path_factory.mktemp("telling")
    take = write_click_take(folder / "archive" / "take", {"near": 0, "far": 480})
    setup.save_setup(setup.setup_of(take, take.current_version, "pair"), folder / "pair.lagline-setup")
    storage.save(take, folder / "take.lagline")
    assert lagline("deliver", folder / "take.lagline", "--out", folder / "out") == 0
    (folder / "archive" / "take" / "broken.wav").write_bytes(b"not audio")
    return folder


def options_of(name: str) -> set[str]:
    return {option for one in get_command(app).commands[name].params for option in one.opts}  # type: ignore[attr-defined]


def test_every_command_can_be_quiet() -> None:
    names = get_command(app).commands  # type: ignore[attr-defined]
    assert len(names) > 10 and not [name for name in names if "--quiet" not in options_of(name)]


def test_quiet_leaves_out_notes_and_never_errors(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = []
    for words in ((), ("--quiet",), ("-q",)):
        assert lagline("align", place / "archive" / "take", *words) == 0
        said.append(capsys.readouterr())
    loud, *quiet = said
    assert "note: broken.wav" in loud.err
    assert [one.err for one in quiet] == ["", ""]
    assert {one.out for one in quiet} == {loud.out}
    assert lagline("align", place / "nowhere", "-q") == 1
    assert capsys.readouterr().err.startswith("lagline: ")
    assert lagline("align", place / "archive" / "take") == 0  # and is over with the command
    assert "note: broken.wav" in capsys.readouterr().err


def tables(text: str) -> list[list[list[str]]]:
    return [[*csv.reader(io.StringIO(part, newline=""))] for part in text.split("\r\n\r\n")]


@pytest.mark.parametrize(
    ("words", "headings"),
    [
        (("align", "archive/take"), [["lane", "later by, samples", "ms", "cm", "polarity", "trust"]]),
        (("apply", "pair.lagline-setup", "archive/take"), [["lane", "setup's lane"]]),
        (("verify", "out"), [["file", "seconds"]]),
        (("combine", "take.lagline"), [["combination", "timing"]]),
        (("batch", "archive", "--out", "results"), [["take", "state"]]),
        (("merge", "results", "--out", "merged"), [["take", "state"]]),
        (("plan", *PLAN), [["lane"], ["pair"]]),
    ],
)
def test_tables_are_csv_and_nothing_else(
    place: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    words: tuple[str, ...],
    headings: list[list[str]],
) -> None:
    monkeypatch.chdir(place)
    assert lagline(*words, "--csv") in (0, 3)
    told = capsys.readouterr()
    found = tables(told.out)
    assert len(found) == len(headings)
    for table, first in zip(found, headings, strict=True):
        assert table[0][: len(first)] == first and len(table) > 1
        assert {len(row) for row in table} == {len(table[0])}, "a sentence among the rows"
        assert not [cell for row in table for cell in row if cell == "-" or cell.startswith("'")]
    lagline(*words, "--csv", "--quiet")
    assert capsys.readouterr() == (told.out, "")


def test_every_command_with_tables_has_csv() -> None:
    """By what their modules call."""
    folder = Path(str(sys.modules["lagline.cli.app"].__file__)).parent
    printing = {path.stem for path in folder.glob("*.py") if "print_table(" in path.read_text("utf-8")}
    printing -= {"tables", "findings_table", "plan_report"}  # of align and plan
    assert {name for name in printing | {"align", "plan"} if "--csv" not in options_of(name)} == set()


def test_figures_are_those_of_the_document(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take = place / "archive" / "take"
    assert lagline("align", take, "--csv") == 0
    ((_, *rows),) = tables(capsys.readouterr().out)
    assert lagline("align", take, "--json") == 0
    lanes = {lane["name"]: lane for lane in json.loads(capsys.readouterr().out)["lanes"]}
    for name, samples, ms, *_ in rows:
        assert float(samples) == pytest.approx(lanes[name]["arrival_samples"], abs=0.006)
        assert float(ms) == pytest.approx(lanes[name]["arrival_ms"], abs=0.0006)
    assert lagline("align", take, "--csv", "--json") == 2
    assert "choose one of --json and --csv" in capsys.readouterr().err


def test_a_sheet_is_csv_too_and_shows_no_escape(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert lagline("sheet", place / "take.lagline", "--csv") == 0
    ((headings, *rows),) = tables(capsys.readouterr().out.removesuffix("\r\n"))
    assert headings[0] == "take" and headings[-1].startswith("first_notch_hz") and len(rows) == 2


def promised() -> list[str]:
    return re.findall(r"^\| (\d+) \| ", GUIDE, re.MULTILINE)


def test_the_guide_names_every_exit_code() -> None:
    assert promised() == ["0", "1", "2", "3", "130"]
    words = dict(re.findall(r"^\| (\d+) \| (.*) \|$", GUIDE, re.MULTILINE))
    for command in ("check", "verify", "batch", "machine"):
        assert f"`{command}`" in words["1"]


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("align", "archive/take"), 0),
        (("align", "nowhere"), 1),
        (("check", "archive/take/broken.wav", "archive/take"), 1),
        (("verify", "out"), 0),
        (("verify", "changed"), 1),
        (("batch", "nothing", "--out", "none"), 1),
        (("align", "archive/take", "--nonsense"), 2),
        (("batch", "archive", "--out", "again"), 3),
    ],
)
def test_exit_codes(place: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], code: int) -> None:
    monkeypatch.chdir(place)
    if words == ("verify", "changed"):
        assert lagline("deliver", "take.lagline", "--out", "changed") == 0
        next((place / "changed").glob("*sheet*.txt")).write_text("0 ms for all")
    if words[1] == "nothing":
        (place / "nothing" / "take").mkdir(parents=True)
        (place / "nothing" / "take" / "a.wav").write_bytes(b"no")
        (place / "nothing" / "take" / "b.wav").write_bytes(b"no")
    assert lagline(*words) == code
