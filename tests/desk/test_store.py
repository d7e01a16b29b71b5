from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot
from tests.support.sessions import session

from lagline.desk.store import SessionStore
from lagline.session.edits import nudged, with_gain
from lagline.session.values import Session


def nudge(by: float):
    def edit(old: Session) -> Session:
        return nudged(old, "near", by)

    return edit


def shift(store: SessionStore) -> float:
    assert store.session is not None
    return store.session.current_version.move("near").shift_samples


@pytest.fixture
def store() -> SessionStore:
    store = SessionStore()
    store.open(session())
    return store


def test_apply_tells_the_new_session(store: SessionStore, qtbot: QtBot) -> None:
    with qtbot.waitSignal(store.changed) as told:
        store.apply("Move Near", nudge(10))
    assert told.args[0] is store.session
    assert shift(store) == 10
    assert store.undo_name == "Move Near"
    assert store.is_modified


def test_undo_and_redo_walk_the_history(store: SessionStore) -> None:
    first = store.session
    store.apply("Move Near", nudge(10))
    store.apply("Gain of Room", lambda old: with_gain(old, "room", -3.0))
    store.undo()
    assert (store.undo_name, store.redo_name) == ("Move Near", "Gain of Room")
    store.undo()
    assert store.session is first
    assert not store.is_modified
    store.undo()
    assert store.session is first
    store.redo()
    store.redo()
    store.redo()
    assert shift(store) == 10
    assert store.session is not None and store.session.current_version.balance("room").gain_db == -3.0


def test_a_new_edit_forgets_what_was_undone(store: SessionStore) -> None:
    store.apply("One", nudge(1))
    store.undo()
    store.apply("Two", nudge(2))
    assert store.redo_name is None
    assert shift(store) == 2


def test_a_group_is_one_step(store: SessionStore) -> None:
    for _ in range(5):
        store.apply("Drag Near", nudge(2), group="drag 1")
    store.end_group()
    store.apply("Drag Near", nudge(1), group="drag 1")
    assert shift(store) == 11
    store.undo()
    assert shift(store) == 10
    store.undo()
    assert shift(store) == 0
    assert store.undo_name is None


def test_an_edit_that_changes_nothing_is_no_step(store: SessionStore) -> None:
    store.apply("Gain of Near", lambda old: with_gain(old, "near", 0.0))
    assert store.undo_name is None
    assert not store.is_modified


def test_a_refused_edit_changes_nothing(store: SessionStore) -> None:
    before = store.session
    with pytest.raises(ValueError, match="number of dB"):
        store.apply("Gain of Near", lambda old: with_gain(old, "near", float("nan")))
    assert store.session is before
    assert store.undo_name is None


def test_saving_settles_and_undo_unsettles(store: SessionStore, tmp_path: Path) -> None:
    store.apply("Move Near", nudge(10), group="drag")
    store.mark_saved(tmp_path / "take.lagline")
    assert not store.is_modified
    assert store.path == tmp_path / "take.lagline"
    store.undo()
    assert store.is_modified
    store.redo()
    assert not store.is_modified
    store.apply("Move Near", nudge(1), group="drag")  # not folded into the saved step
    store.undo()
    assert not store.is_modified


def test_an_unsaved_take_is_modified(store: SessionStore) -> None:
    store.open(session(), saved=False)
    assert store.is_modified
    store.open(None)
    assert not store.is_modified
    store.apply("Nothing to edit", nudge(1))
    assert store.session is None


def test_a_history_is_taken_up_where_it_was(store: SessionStore) -> None:
    for by in (1, 2, 4):
        store.apply(f"Nudge {by}", nudge(by))
    store.undo()
    store.undo()
    history = store.history
    assert history is not None and history.current is store.session
    again = SessionStore()
    again.open(history.current, history=history)
    assert (again.undo_name, again.redo_name) == ("Nudge 1", "Nudge 2")
    assert again.history == history
    for way, samples in (("redo", 3), ("redo", 7), ("redo", 7), ("undo", 3), ("undo", 1), ("undo", 0)):
        getattr(again, way)()
        assert shift(again) == samples
