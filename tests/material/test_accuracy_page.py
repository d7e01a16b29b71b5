"""The guide's page on accuracy is made of the report's figures, and says nothing where there are none."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PySide6.QtGui import QImage
from tests.benchmarks import accuracy_page, estimator_report
from tests.material.test_estimator_report import row


@pytest.fixture
def figures(tmp_path: Path) -> Path:
    rows = [
        {**row(10.0), "peers": {"phase": [10.0, 1.0]}},
        {**row(99.0, said={"word": "weak", "trust": 0.4}), "peers": {"phase": [10.0, 1.0]}},
        {**row(3.0, set="real", family="groove", ranges=[[2, 5]]), "peers": {"phase": [7.0, 1.0]}},
    ]
    about = {"sets": ["material:1", "real"], "takes": 3, "seconds": 1.0, "failed": [], "analysis": "x"}
    made = json.loads(json.dumps(estimator_report.summary(rows, (3, 4), about)))
    (tmp_path / "estimator.json").write_text(json.dumps(made))
    return tmp_path


def test_the_figures_stand_on_the_page(figures: Path) -> None:
    text = accuracy_page.page(figures)
    assert "| one clap, slate, click, note or stroke | 2 | 50.0 % | 0 | phase | 100.0 % |  |" in text
    assert "| groove | 1 | 1 | 0 | 0 | phase | 0 |" in text
    assert "| strong | 2 | 100.0 % |" in text
    assert "Each source's lag in each lane: 3 of 4." in text
    assert "| 0.4 to 0.5 | 1 | 40 % | 0 % |" in text
    assert "The physical limit" not in text
    assert "Kinds of take it never met" not in text
    assert "estimator_report --work /tmp/report material:1 real --reporting" in text


def test_further_figures_bring_their_own_sections(figures: Path) -> None:
    rows = [{"ratio_db": 10.0, "answered": 24, "takes": 24, "rms": 0.003, "bound": 0.002}]
    (figures / "bound.json").write_text(json.dumps({"seconds": 6.0, "rows": rows}))
    left_out = [{"name": "kits", "lanes": 8, "right": [7, 8], "with": [8, 8]}]
    (figures / "left_out.json").write_text(json.dumps(left_out))
    text = accuracy_page.page(figures)
    assert "| 10 | 24 of 24 | 0.00300 | 0.00200 | 1.50 |" in text
    assert "| kits | 8 | 87.5 % | 100.0 % |" in text


def test_every_real_take_is_credited(figures: Path) -> None:
    """Each recording's makers, licence and source, and what was changed."""
    text = accuracy_page.page(figures)
    for words in (
        "Lars Muldjord",
        "Karoryfer Lecolds",
        "Bengt Nilsson",
        "Dagstuhl ChoirSet",
        "Jakub Lewicki",
    ):
        assert words in text
    assert "CC BY 4.0" in text
    assert "What was changed" in text


def test_the_diagram_is_wide_enough_for_the_guide(figures: Path, tmp_path: Path) -> None:
    accuracy_page.draw(figures, tmp_path / "reliability.png")
    picture = QImage(str(tmp_path / "reliability.png"))
    assert picture.width() >= 400
    blue = sum(
        picture.pixelColor(x, y).name() == "#0072b2"
        for x in range(0, picture.width(), 3)
        for y in range(0, picture.height(), 3)
    )
    assert blue > 20
