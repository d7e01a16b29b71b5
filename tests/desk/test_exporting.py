"""What the desk's export writes, and where: the same as the command line's."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pytest
from msgspec.structs import replace
from pytestqt.qtbot import QtBot
from shiboken6 import isValid

from lagline.deliver.options import DEFAULTS
from lagline.desk.exporting import export
from lagline.desk.job import Job
from lagline.desk.panels.export_plan import ExportWish, export_plan
from lagline.errors import WouldOverwrite
from lagline.jobs.hand_over import HandedOver, hand_over_take
from lagline.playback.state import PlayState
from lagline.session.edits import with_shift
from lagline.session.values import ORIGINAL_ID, Session

LISTS = ("delivery.json", "checksums.sha256", "certificate.html")
pytestmark = pytest.mark.usefixtures("qapp")  # the PDF is laid out by Qt


def never() -> bool:
    return False


def written(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}


def test_desk_and_command_line_lay_files_out_alike(take: Session, tmp_path: Path) -> None:
    take = with_shift(take, take.lanes[0].id, 96.0)
    wish = ExportWish(tmp_path / "desk", "v1", DEFAULTS, blends=(ORIGINAL_ID, "v1"), report=False)
    told: list[float] = []
    done = export(take, wish, {}, PlayState(), told.append, never)
    hand_over_take(take, tmp_path / "line", "v1", DEFAULTS, level_matched=True)
    assert written(tmp_path / "desk") == written(tmp_path / "line")
    assert {str(path.relative_to(done.folder)) for path in done.paths} == written(tmp_path / "desk")
    assert told == sorted(told) and told[-1] == 1.0


def test_what_the_dialog_foresees_is_what_is_written(take: Session, tmp_path: Path) -> None:
    out = tmp_path / "out"
    wish = ExportWish(out, "v1", DEFAULTS)
    plan = export_plan(take, wish)
    assert plan.existing == () and plan.objection == ""
    export(take, wish, {}, PlayState(), lambda _: None, never)
    assert set(plan.files) <= written(out)
    assert any(name.endswith(".otio") for name in written(out))
    lists = {name for name in written(out) if name.endswith(LISTS)}
    assert set(export_plan(take, wish).existing) == written(out) - lists
    assert "would be replaced" in export_plan(take, replace(wish, stems=False)).objection


def test_the_report_shows_the_tone_before_and_after(take: Session, tmp_path: Path) -> None:
    take = with_shift(take, take.lanes[0].id, 96.0)
    told: list[float] = []
    export(take, ExportWish(tmp_path, "v1", DEFAULTS), {}, PlayState(), told.append, never)
    (page,) = tmp_path.glob("*report*.html")
    (paper,) = tmp_path.glob("*report*.pdf")
    assert paper.read_bytes().startswith(b"%PDF-1.") and paper.stem == page.stem
    assert "Spectrum of the blend: original dashed, Shifted solid" in page.read_text("utf-8")
    assert told == sorted(told) and told[-1] == 1.0


def test_a_report_alone_replaces_the_one_before_when_that_is_asked(take: Session, tmp_path: Path) -> None:
    wish = ExportWish(tmp_path, "v1", DEFAULTS, stems=False, sheet=False)
    export(take, wish, {}, PlayState(), print, never)
    with pytest.raises(WouldOverwrite, match="report"):
        export(take, wish, {}, PlayState(), print, never)
    replacing = replace(wish, options=replace(DEFAULTS, overwrite=True))
    assert len(export(take, replacing, {}, PlayState(), print, never).paths) == 5  # page, PDF, LISTS


def test_a_sheet_in_the_way_is_said_before_any_file_is_written(take: Session, tmp_path: Path) -> None:
    export(
        take, ExportWish(tmp_path, "v1", DEFAULTS, stems=False, report=False), {}, PlayState(), print, never
    )
    with pytest.raises(WouldOverwrite):
        export(take, ExportWish(tmp_path, "v1", DEFAULTS, report=False), {}, PlayState(), print, never)
    assert not (tmp_path / "aligned").exists()


def test_only_the_sheet_makes_no_folder_of_aligned_files(take: Session, tmp_path: Path) -> None:
    wish = ExportWish(tmp_path, "v1", DEFAULTS, stems=False, report=False)
    export(take, wish, {}, PlayState(), lambda _: None, never)
    assert not (tmp_path / "aligned").exists()
    assert any("delay sheet" in name for name in written(tmp_path))
    with pytest.raises(WouldOverwrite):
        export(take, wish, {}, PlayState(), lambda _: None, never)


def test_the_paper_is_laid_out_on_a_thread_of_its_own(qtbot: QtBot, take: Session, tmp_path: Path) -> None:
    job = Job("Delivering", partial(export, take, ExportWish(tmp_path, "v1", DEFAULTS), {}, PlayState()))
    ended: list[object] = []
    job.done.connect(ended.append)
    job.failed.connect(ended.append)
    job.start()
    qtbot.waitUntil(lambda: bool(ended), timeout=120_000)
    qtbot.waitUntil(lambda: not isValid(job) or job.isFinished(), timeout=10_000)
    assert isinstance(ended[0], HandedOver), ended
    assert len(list(tmp_path.glob("*report*.pdf"))) == 1
