"""Sessions whose recordings are not what they were: asked about, mended without a file being touched."""

from __future__ import annotations

from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot
from tests.support.desk_hands import press
from tests.support.fake_desk import FakeQuestions
from tests.support.gone_runs import crashed_with
from tests.support.recordings import noise, recording

from lagline.desk.window import DeskWindow
from lagline.jobs.open_take import open_take
from lagline.jobs.sources import source_problems
from lagline.session.storage import save
from lagline.session.values import Session

OTHER_NAMES, OTHERS = "yes: Recordings are under other names", "yes: Other recordings"


@pytest.fixture
def session_file(take: Session, tmp_path: Path) -> Path:
    """Of near, room and side."""
    save(open_take([tmp_path / "take"]).session, tmp_path / "take" / "work.lagline")
    return tmp_path / "take" / "work.lagline"


def opened(window: DeskWindow, path: Path, qtbot: QtBot) -> Session:
    with qtbot.waitSignal(window.parts.files.opened, timeout=20_000):
        window.open_paths([path])
    session = window.parts.store.session
    assert session is not None
    return session


def exchange(one: Path, other: Path) -> None:
    aside = one.with_name("aside")
    one.rename(aside)
    other.rename(one)
    aside.rename(other)


@pytest.mark.parametrize("wanted", [True, False])
def test_exchanged_recordings_are_offered_to_be_exchanged_back(
    window: DeskWindow, questions: FakeQuestions, session_file: Path, qtbot: QtBot, wanted: bool
) -> None:
    folder = session_file.parent
    exchange(folder / "near.wav", folder / "room.wav")
    questions.yes_answer = wanted
    told: list[str] = []
    window.parts.files.problem.connect(told.append)
    session = opened(window, session_file, qtbot)
    assert questions.asked == [OTHER_NAMES]
    paths = [lane.source.path.name for lane in session.lanes]
    assert paths == (["room.wav", "near.wav", "side.wav"] if wanted else ["near.wav", "room.wav", "side.wav"])
    assert window.parts.store.is_modified is wanted
    assert len(told) == (0 if wanted else 2)
    assert all("now holds the recording of" in sentence for sentence in told)


def test_a_renamed_recording_is_used_where_it_is(
    window: DeskWindow, questions: FakeQuestions, session_file: Path, qtbot: QtBot
) -> None:
    (session_file.parent / "near.wav").rename(session_file.parent / "close.wav")
    session = opened(window, session_file, qtbot)
    assert questions.asked == [OTHER_NAMES]
    assert session.lanes[0].source.path.name == "close.wav" and source_problems(session) == ()


def test_one_recorded_again_is_gone_on_with_only_when_that_is_wanted(
    window: DeskWindow, questions: FakeQuestions, session_file: Path, qtbot: QtBot
) -> None:
    near = session_file.parent / "near.wav"
    before = open_take([session_file.parent]).session.lanes[0].source
    recording(near, noise(before.frames, seed=3), subtype=before.subtype)
    questions.yes_answer = False
    assert source_problems(opened(window, session_file, qtbot))
    questions.is_there = False  # nobody can be asked: then it is only told
    assert source_problems(opened(window, session_file, qtbot))
    questions.is_there = questions.yes_answer = True
    assert source_problems(opened(window, session_file, qtbot)) == ()
    assert questions.asked == [OTHERS, OTHERS]


def test_recordings_found_in_a_chosen_folder_under_other_names(
    window: DeskWindow, questions: FakeQuestions, session_file: Path, tmp_path: Path, qtbot: QtBot
) -> None:
    archive = tmp_path / "archive"
    archive.mkdir()
    for number, path in enumerate(sorted(session_file.parent.glob("*.wav"))):
        path.rename(archive / f"{number}.wav")
    questions.folder_answer = archive
    session = opened(window, session_file, qtbot)
    assert questions.asked == ["missing"]
    assert [lane.source.path.name for lane in session.lanes] == ["0.wav", "1.wav", "2.wav"]


def test_recovered_work_does_not_ask_again_for_what_was_pointed_to(
    window: DeskWindow, questions: FakeQuestions, session_file: Path, tmp_path: Path, qtbot: QtBot
) -> None:
    archive = tmp_path / "archive"
    archive.mkdir()
    for path in session_file.parent.glob("*.wav"):
        path.rename(archive / path.name)
    questions.folder_answer = archive
    opened(window, session_file, qtbot)
    press(window, "Ctrl+A")
    assert window.parts.store.session is not None
    save(window.parts.store.session, tmp_path / "edited")
    window.parts.store.open(None)
    crashed_with(tmp_path / "edited", session_file)
    questions.asked.clear()
    session = opened(window, session_file, qtbot)
    assert questions.asked == ["yes: Unsaved work was found"]
    assert source_problems(session) == ()


def test_a_session_from_before_is_not_changed_by_being_opened(
    window: DeskWindow, session_file: Path, qtbot: QtBot
) -> None:
    text = session_file.read_text("utf-8")
    lines = [line for line in text.splitlines() if '"fingerprint"' not in line]
    session_file.write_text(
        "\n".join(lines).replace(",\n   }", "\n   }").replace(",\n    }", "\n    }"), "utf-8"
    )
    session = opened(window, session_file, qtbot)
    assert all(lane.source.fingerprint for lane in session.lanes)
    assert not window.parts.store.is_modified
