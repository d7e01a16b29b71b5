"""Exporting into the take's folder, and opening that folder again."""

from __future__ import annotations

from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from lagline.deliver.options import DEFAULTS
from lagline.desk.exporting import export
from lagline.desk.panels.export_plan import ExportWish
from lagline.desk.window import DeskWindow
from lagline.playback.state import PlayState
from lagline.session.values import Session


def never() -> bool:
    return False


def test_an_export_into_the_folder_of_the_take_brings_no_lanes_at_the_next_opening(
    window: DeskWindow, take: Session, qtbot: QtBot
) -> None:
    folder = take.lanes[0].source.path.parent
    wish = ExportWish(folder, "v1", DEFAULTS, report=False, blends=("original", "v1"))
    export(take, wish, {}, PlayState(), lambda _: None, never)
    assert len(list(folder.glob("*.wav"))) > 3
    told: list[str] = []
    window.parts.files.problem.connect(told.append, Qt.ConnectionType.DirectConnection)
    with qtbot.waitSignal(window.parts.files.opened, timeout=20_000):
        window.open_paths([folder])
    session = window.parts.store.session
    assert session is not None and len(session.lanes) == 3
    assert any(sentence.startswith("Left out, because Lagline delivered them itself") for sentence in told)
    told.clear()
    with qtbot.waitSignal(window.parts.files.problem, timeout=20_000):
        window.open_paths([folder / "aligned"])
    assert any("lined up already" in sentence for sentence in told)
