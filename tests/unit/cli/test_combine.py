"""`lagline combine`: the table, its order, JSON, and what is printed."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from msgspec.structs import replace
from tests.support.takes import noise_take
from typer.testing import CliRunner

from lagline.cli.app import app
from lagline.session.storage import save
from lagline.session.values import Lane, Move, Session, Source, Version


@pytest.fixture
def session_file(tmp_path: Path) -> Path:
    session = noise_take(tmp_path / "in", frames=48_000)
    versions = (Version("v1", "Close", {"near": Move(120.5)}), Version("v2", "Wide", {"near": Move(300.0)}))
    path = tmp_path / "in" / "take.lagline"
    save(replace(session, versions=versions), path)
    return path


def lagline(*arguments: object) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, ["combine", *map(str, arguments)], env={"COLUMNS": "200"})
    return done.exit_code, done.stdout, done.stderr


def document(*arguments: object) -> dict:
    code, out, err = lagline(*arguments, "--json")
    assert code == 0, err
    return json.loads(out)


def test_the_table_has_every_combination_at_both_timings(session_file: Path) -> None:
    code, out, _ = lagline(session_file)
    assert code == 0
    for wanted in ("Near + Far + Room", "as recorded", "Close", "ripple dB", "Near + Far, Close: "):
        assert wanted in out
    assert "Wide" not in out


def test_lanes_and_version_can_be_chosen(session_file: Path) -> None:
    found = document(session_file, "--lane", "room", "--lane", "Near", "--version", "wide")
    assert [(one["name"], one["timing"]) for one in found["combinations"]] == [
        ("Near", "as recorded"), ("Near", "Wide"), ("Room", "as recorded"), ("Room", "Wide"),
        ("Near + Room", "as recorded"), ("Near + Room", "Wide"),
    ]  # fmt: skip
    assert found["combinations"][-1]["lanes"] == ["Near", "Room"]


def test_several_versions_stand_side_by_side(session_file: Path) -> None:
    found = document(session_file, "--lane", "Near", "--version", "wide", "--version", "close")
    assert [one["timing"] for one in found["combinations"]] == ["as recorded", "Wide", "Close"]


@pytest.mark.parametrize(
    ("order", "key", "falls"),
    [("ripple", "ripple_db", False), ("loudness", "loudness_lufs", True), ("crest", "crest_db", True)],
)
def test_the_order_is_the_one_asked_for(session_file: Path, order: str, key: str, falls: bool) -> None:
    found = [one[key] for one in document(session_file, "--sort", order)["combinations"]]
    assert found == sorted(found, reverse=falls)
    assert len(set(found)) > 1


def test_fewer_are_laid_out_when_asked(session_file: Path) -> None:
    found = document(session_file, "--most", 4)["combinations"]
    assert {one["name"] for one in found} == {"Near", "Far", "Room", "Near + Far + Room"}


def test_chosen_ones_are_printed(session_file: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    code, said, _ = lagline(
        session_file, "--out", out, "--combination", "near + room", "--combination", "Far, close"
    )
    assert code == 0
    assert sorted(path.name for path in out.glob("*.wav")) == [
        "Invented take - blend - Far, Close.wav",
        "Invented take - blend - Near + Room, Close.wav",
        "Invented take - blend - Near + Room, as recorded.wav",
    ]
    assert str(out / "Invented take - combinations.csv") in said


def test_json_is_alone_on_standard_output_when_files_are_printed_too(
    session_file: Path, tmp_path: Path
) -> None:
    found = document(session_file, "--out", tmp_path / "out", "--combination", "Near")
    assert found["schema"] == "lagline/combine/1"
    assert len(list((tmp_path / "out").glob("*.wav"))) == 2


WRONG = [
    (("--combination", "Near"), 2, "give --out FOLDER too"),
    (("--lane", "nobody"), 1, "There is no lane called 'nobody'"),
    (("--version", "nothing"), 1, "There is no version called 'nothing'"),
    (("--out", "OUT", "--combination", "Near + Nobody"), 1, "There is no combination called 'Near + Nobody'"),
    (("--most", "0"), 2, "--most"),
    (("--sort", "beauty"), 2, "--sort"),
]


@pytest.mark.parametrize(("arguments", "code", "said"), WRONG)
def test_what_makes_no_sense_is_refused_in_words(
    session_file: Path, tmp_path: Path, arguments: tuple[str, ...], code: int, said: str
) -> None:
    given = [tmp_path / "out" if one == "OUT" else one for one in arguments]
    done = CliRunner().invoke(app, ["combine", str(session_file), *map(str, given)])
    assert said in (done.stderr or "") + str(done.exception)
    assert done.exit_code in (code, 1)
    assert not (tmp_path / "out").exists()


def test_the_least_change_that_mends_a_comb_is_proposed(tmp_path: Path) -> None:
    """Two lanes a millisecond apart: a millisecond mends them."""
    sound = 0.1 * np.random.default_rng(4).standard_normal(3 * 48_000)
    for name, late in (("close", 0), ("far", 48)):
        soundfile.write(tmp_path / f"{name}.wav", np.roll(sound, late), 48_000, subtype="FLOAT")
    lanes = tuple(
        Lane(name, name, Source(path, 0, 48_000, len(sound), path.stat().st_size, "FLOAT"))
        for name, path in ((name, tmp_path / f"{name}.wav") for name in ("close", "far"))
    )
    save(Session(rate_hz=48_000, lanes=lanes, name="two"), tmp_path / "two.lagline")
    found = document(tmp_path / "two.lagline", "--mend", "close + far, as recorded")["mends"]
    assert [(one["combination"], one["timing"]) for one in found] == [("close + far", "as recorded")]
    shift = next(one for one in found[0]["changes"] if one["change"] == "shift")
    assert shift["part"] == "close" and shift["amount"] == pytest.approx(48.0, abs=0.1)
    assert shift["depth_before_db"] > 20.0 and shift["depth_after_db"] < 3.0
    code, out, _ = lagline(tmp_path / "two.lagline", "--mend", "close + far, as recorded")
    assert code == 0 and "close 1.00 ms later: fills " in out
    _, out, _ = lagline(tmp_path / "two.lagline", "--mend", "far, as recorded")
    assert "least change to far, as recorded: it has no notch to mend." in out


def test_csv_keeps_to_itself_on_stdout(session_file: Path, tmp_path: Path) -> None:
    code, out, err = lagline(session_file, "--csv", "--out", tmp_path / "out")
    assert code == 0
    assert "combinations.csv" in err and "combinations.csv" not in out
