"""What the report counts: right, refused, covered, calibrated; and that a stopped run goes on."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.benchmarks import estimator_report
from tests.benchmarks.estimator import cases, scoring, tables
from tests.benchmarks.estimator.peers import peers
from tests.benchmarks.estimator.reliability_svg import diagram


def row(arrival: float | None = 10.2, **more: Any) -> scoring.Row:
    said = {"arrival": arrival, "uncertainty": 0.2, "polarity": 1, "polarity_trust": 0.95, "trust": 0.9}
    said |= {"word": "strong" if arrival is not None else "none", "drift_ppm": 0.0}
    plain = {"key": "k", "set": "material", "family": "single", "variant": "", "frames": 480000, "lane": "b"}
    truth = {"match": True, "points": [10.0], "ranges": [], "polarity": 1, "drift_ppm": None, "own": None}
    return {**plain, **truth, "said": said | more.pop("said", {}), "peers": {}, **more}


@pytest.mark.parametrize(
    ("truth", "arrival", "right"),
    [
        ({}, 10.9, True),
        ({}, 11.1, False),
        ({}, None, False),
        ({"points": [10.0, 50.0]}, 50.5, True),
        ({"points": [10.0], "ranges": [[5.0, 20.0]]}, 19.0, True),
        ({"points": [10.0], "ranges": [[5.0, 20.0]]}, 20.5, False),
        ({"points": [], "ranges": [[5.0, 20.0]]}, 4.9, False),
        ({"match": False, "points": []}, None, True),
        ({"match": False, "points": []}, 10.0, False),
    ],
)
def test_right_is_within_a_sample_of_a_point_or_inside_a_range(
    truth: dict[str, Any], arrival: float | None, right: bool
) -> None:
    assert scoring.is_right(row(**truth), arrival) is right


def test_a_drifting_lane_is_judged_over_the_whole_take() -> None:
    lane = row(drift_ppm=10.0)  # 4.8 samples over the take
    assert scoring.error(lane, 10.0, 10.0) == 0.0
    assert scoring.error(lane, 10.0, 0.0) == pytest.approx(0.9 * 4.8)
    assert not scoring.is_right(lane, 10.0, 0.0)


def test_figures_count_every_lane_once() -> None:
    rows = [
        row(10.0),
        row(11.5, said={"word": "usable", "trust": 0.7}),
        row(None),
        row(3.0, match=False, points=[], said={"word": "weak", "trust": 0.4}),
        row(10.0, polarity=-1, own="kick"),
        row(10.0, polarity=None, said={"polarity": None}),
    ]
    f = scoring.figures(rows)
    assert f["right"] == [3, 5]
    assert f["refused"] == [1, 5]
    assert f["strangers_refused"] == (0, 1)
    assert (f["strong"], f["usable"], f["weak"]) == ((3, 3), (0, 1), (0, 1))
    assert f["polarity"] == (1, 2)
    assert f["unclear"] == (1, 1)
    assert f["spots"] == (1, 1)
    assert f["covered"] == (3, 4)
    assert f["wrong"] == 3


def test_calibration_error_is_the_weighted_gap() -> None:
    rows = [row(10.0, said={"trust": 0.95})] * 3 + [row(99.0, said={"trust": 0.95})]
    rows += [row(10.0, said={"trust": 0.55}), row(99.0, said={"trust": 0.55})]
    assert scoring.calibration_error(rows) == pytest.approx((4 * 0.20 + 2 * 0.05) / 6)
    assert [b["lanes"] for b in scoring.reliability(rows)] == [2, 4]
    assert "0.95   0.75" in tables.reliability_table(rows)
    ET.fromstring(diagram(scoring.reliability(rows), "a & b".replace("&", "and")))


def test_a_source_left_out_counts_as_wrong() -> None:
    truth = {"kick": {"a": [0, 0], "b": [9, 11]}, "snare": {"b": [-3, -1]}}
    assert scoring.source_lags(truth, {"kick": {"a": 0.0, "b": 12.0}}) == (1, 3)


def test_peers_find_a_plain_delay_and_its_sign() -> None:
    x = np.random.default_rng(4).standard_normal(30000)
    for name, (lag, sign) in peers(x, -np.roll(x, 37), 48000).items():
        assert lag == pytest.approx(37, abs=0.1), name
        assert sign == -1, name


def test_seeds_kept_for_the_report_stay_shut() -> None:
    with pytest.raises(SystemExit, match="kept for the report"):
        cases.expand("material:5000-5002", "", reporting=False)
    assert cases.expand("material:5000", "array", reporting=True)


def test_a_run_that_was_stopped_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two takes through the real analysis and its JSON; the second run measures nothing again."""
    work, out, svg = tmp_path / "work", tmp_path / "out.json", tmp_path / "out.svg"
    words = ["report", "material:4", "--only", "array", "--work", str(work)]
    monkeypatch.setattr("sys.argv", [*words, "--json", str(out), "--svg", str(svg), "--misses"])
    estimator_report.main()
    first = json.loads(out.read_text())
    assert first["sets"]["material"]["all"]["lanes"] == 14
    assert first["sets"]["material"]["all"]["peers"]["phase"]["right"][1] == 14
    capsys.readouterr()
    estimator_report.main()
    assert "2 takes, 0 to measure" in capsys.readouterr().err
    assert json.loads(out.read_text()) == first
