"""A setup put on a take in the desk and by `lagline apply` gives the same session."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QPushButton
from tests.support.click_take import write_click_take
from tests.support.desk_door import NotedDesk

from lagline.cli.run import run
from lagline.desk.setups.applying import ApplyingSetup
from lagline.jobs.apply_setup import read_setup
from lagline.session.setup import Setup, SetupLane, save_setup
from lagline.session.storage import load
from lagline.session.values import Move, Session

SETUP = Setup(
    "clicks",
    48_000,
    (SetupLane("near", Move(96.0, -1)), SetupLane("side", Move(10.25)), SetupLane("room", Move())),
    "room",
    temperature_c=27.0,
)


def in_the_desk(qtbot, questions, setup_questions, setup_path: Path, folder: Path, take_new: bool) -> Session:
    questions.open_answer = sorted(folder.glob("*.wav"))
    applying = ApplyingSetup(
        read_setup(setup_path), setup_path, None, questions, setup_questions, folder.parent
    )
    qtbot.addWidget(applying.dialog)
    applying.dialog.show()
    try:
        applying.dialog.recordings_wanted.emit()
        qtbot.waitUntil(lambda: len(applying.takes) == 1 and applying._job is None, timeout=10_000)
        qtbot.mouseClick(applying.dialog._measure, Qt.MouseButton.LeftButton)
        qtbot.waitUntil(lambda: not applying.dialog._is_busy, timeout=60_000)
        if take_new:
            applying.dialog._take_all.click()
        buttons = applying.dialog.findChildren(QPushButton)
        with qtbot.waitSignal(applying.note, timeout=10_000):
            next(one for one in buttons if one.text() == "Accept").click()
        qtbot.waitUntil(lambda: applying._job is None)
    finally:
        applying.close()
    return load(folder / f"{folder.name}.lagline")


@pytest.mark.parametrize("take_new", [False, True])
def test_both_doors_give_the_same_session(
    qtbot, questions, setup_questions, tmp_path: Path, take_new: bool
) -> None:
    folder = tmp_path / "take"
    write_click_take(folder, {"near": 0, "side": 56, "room": 96})
    setup_path, out = tmp_path / "clicks.lagline-setup", tmp_path / "by hand.lagline"
    save_setup(SETUP, setup_path)
    options = ["--take-new"] if take_new else []
    assert run(["apply", str(setup_path), str(folder), "--out", str(out), *options], NotedDesk()) == 0
    typed = load(out)
    clicked = in_the_desk(qtbot, questions, setup_questions, setup_path, folder, take_new)
    assert typed.alignment is not None and typed.temperature_c == 27.0
    shift = typed.current_version.move(typed.lane_named("side").id).shift_samples
    assert shift == (pytest.approx(40.0, abs=0.1) if take_new else 10.25)
    assert replace(clicked, alignment=None) == replace(typed, alignment=None)
    assert clicked.alignment == typed.alignment
