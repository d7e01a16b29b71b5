"""Two real desks on one session file: neither takes the other's work away."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support.desk_by_wire import WiredDesk
from tests.support.takes import noise_take

from lagline.session.storage import load, save

Desks = Callable[[], WiredDesk]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "take.lagline"
    save(replace(noise_take(tmp_path / "take", frames=3_000), notes="first"), path)
    return path


@pytest.fixture
def desks(tmp_path: Path) -> Iterator[Desks]:
    started: list[WiredDesk] = []

    def start() -> WiredDesk:
        started.append(WiredDesk(tmp_path / "desks", name=f"desk{len(started)}"))
        return started[-1]

    yield start
    for desk in started:
        if desk.process.poll() is None:
            desk.kill()


def saved_notes(folder: Path) -> set[str]:
    return {load(path).notes for path in folder.glob("*.lagline")}


def test_a_session_open_elsewhere_is_looked_at_only(desks: Desks, file: Path) -> None:
    one, other = desks(), desks()
    one.tell("open", paths=[file])
    one.tell("edit", notes="of the first")
    seen = other.tell("open", paths=[file], answers={"elsewhere_answer": "look"})
    assert seen["asked"] == ["elsewhere"]
    assert seen["path"] is None and seen["notes"] == "first" and "look only" in seen["title"]
    other.tell("edit", notes="of the second")
    other.tell("run", command="save", answers={"save_answer": file.with_name("second.lagline")})
    assert one.tell("run", command="save")["asked"] == []
    assert (load(file).notes, load(file.with_name("second.lagline")).notes) == (
        "of the first",
        "of the second",
    )


def test_the_one_taken_over_from_notices_and_keeps_its_work(desks: Desks, file: Path) -> None:
    one, other = desks(), desks()
    one.tell("open", paths=[file])
    one.tell("edit", notes="of the first")
    seen = other.tell("open", paths=[file], answers={"elsewhere_answer": "take"})
    assert seen["asked"] == ["elsewhere"] and seen["path"] == str(file)
    lost = one.until(lambda state: state["path"] is None)
    assert lost["notes"] == "of the first" and lost["modified"]
    assert "taken over" in lost["message"] and lost["offered"] == "Save as…"
    other.tell("edit", notes="of the second")
    assert not other.tell("run", command="save")["modified"]
    one.tell("run", command="save", answers={"save_answer": file.with_name("kept.lagline")})
    assert saved_notes(file.parent) == {"of the first", "of the second"}
    assert load(file).notes == "of the second"


def test_a_save_before_it_was_noticed_writes_nothing(desks: Desks, file: Path) -> None:
    one, other = desks(), desks()
    one.tell("open", paths=[file])
    one.tell("edit", notes="of the first")
    other.tell("open", paths=[file], answers={"elsewhere_answer": "take"})
    seen = one.tell("run", command="save", answers={"save_answer": file.with_name("kept.lagline")})
    assert seen["path"] == str(file.with_name("kept.lagline"))
    assert saved_notes(file.parent) == {"first", "of the first"}


def test_after_a_kill_the_session_is_free_and_the_work_offered(desks: Desks, file: Path) -> None:
    one, other = desks(), desks()
    one.tell("open", paths=[file])
    one.tell("edit", notes="of the first")
    one.until(lambda _state: any(file.parent.glob(".take.lagline.*autosave")))
    one.kill()
    seen = other.tell("open", paths=[file], answers={"yes_answer": True})
    assert seen["asked"] == ["yes: Unsaved work was found"]
    assert seen["notes"] == "of the first" and seen["path"] == str(file)
    assert seen["undo"] == "Note of the first"
    assert other.tell("run", command="undo")["notes"] == "first"


def test_the_work_of_a_window_that_runs_is_not_offered_to_another(desks: Desks, file: Path) -> None:
    one, other = desks(), desks()
    one.tell("open", paths=[file])
    one.tell("edit", notes="of the first")
    one.until(lambda _state: any(file.parent.glob(".take.lagline.*autosave")))
    seen = other.tell("open", paths=[file], answers={"elsewhere_answer": "take"})
    assert seen["asked"] == ["elsewhere"] and seen["notes"] == "first"


@pytest.mark.parametrize(
    ("answer", "path", "on_disk"),
    [
        ("both", "take 2.lagline", {"take.lagline": "of another program", "take 2.lagline": "mine"}),
        ("replace", "take.lagline", {"take.lagline": "mine"}),
        ("stay", "take.lagline", {"take.lagline": "of another program"}),
    ],
)
def test_a_change_on_disk_is_not_written_over_unasked(
    desks: Desks, file: Path, answer: str, path: str, on_disk: dict[str, str]
) -> None:
    desk = desks()
    desk.tell("open", paths=[file])
    desk.tell("edit", notes="mine")
    text = file.read_text("utf-8")  # a writer that knows no locks, restores the time and keeps the size
    stat = file.stat()
    file.write_text(text.replace('"first"', '"of another program"'), "utf-8")
    import os

    os.utime(file, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    seen = desk.tell("run", command="save", answers={"changed_answer": answer})
    assert seen["asked"] == ["changed"]
    assert seen["path"] == str(file.with_name(path)) and seen["modified"] == (answer == "stay")
    assert {name.name: load(name).notes for name in file.parent.glob("*.lagline")} == on_disk


def test_recordings_pointed_to_are_not_asked_for_again_after_a_crash(desks: Desks, file: Path) -> None:
    (file.parent / "take").rename(file.parent / "moved")
    one, other = desks(), desks()
    seen = one.tell("open", paths=[file], answers={"folder_answer": file.parent / "moved"})
    assert seen["asked"] == ["missing"] and seen["missing"] == []
    one.until(lambda _state: any(file.parent.glob(".take.lagline.*autosave")))
    one.kill()
    seen = other.tell("open", paths=[file], answers={"yes_answer": True})
    assert seen["asked"] == ["yes: Unsaved work was found"] and seen["missing"] == []
