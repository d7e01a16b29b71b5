"""Session files: saved and loaded equal, whole or not at all, refused in words."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from tests.support.random_sessions import sessions

from lagline import files
from lagline.errors import CannotWrite, ChangedOnDisk, FileMissing, SessionTooNew, SessionUnreadable
from lagline.session.restore_points import restore_points
from lagline.session.storage import KIND, load, save, stamp
from lagline.session.values import Lane, Session, Source

# DEVELOPERS.md tells how to try ten thousand.
EXAMPLES = int(os.environ.get("LAGLINE_RANDOM_SESSIONS", "150"))


def one_session(folder: Path) -> Session:
    source = Source(path=folder / "audio" / "near.wav", channel=0, rate_hz=48000, frames=10, size_bytes=64)
    return Session(rate_hz=48000, lanes=(Lane(id="lane-1", name="near", source=source),), name="chapel")


def written(folder: Path, **changes: Any) -> Path:
    """A session file with some of its fields replaced by hand."""
    path = folder / "take.lagline"
    save(one_session(folder), path)
    path.write_text(json.dumps({**json.loads(path.read_text("utf-8")), **changes}), "utf-8")
    return path


@settings(
    max_examples=EXAMPLES,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(session=sessions())
@pytest.mark.timeout(0)  # as long as so many take
def test_saved_then_loaded_is_equal(session: Session, tmp_path: Path) -> None:
    """Each over the one before, which is then among the restore points."""
    path = tmp_path / "take.lagline"
    before = path.read_bytes() if path.exists() else None
    save(session, path)
    assert load(path) == session
    now = path.read_bytes()
    kept = {point.path.read_bytes() for point in restore_points(path)}
    assert before is None or before == now or before in kept


def test_recordings_are_found_again_when_the_folder_moves(tmp_path: Path) -> None:
    old = tmp_path / "old"
    old.mkdir()
    save(one_session(old), old / "take.lagline")
    new = tmp_path / "new"
    old.rename(new)
    assert load(new / "take.lagline").lanes[0].source.path == new / "audio" / "near.wav"


def test_unknown_keys_are_kept(tmp_path: Path) -> None:
    path = written(tmp_path, colour_of_the_room="blue")
    document = json.loads(path.read_text("utf-8"))
    document["lanes"][0]["microphone"] = {"kind": "ribbon"}
    document["versions"][0]["liked_by"] = ["the drummer"]
    path.write_text(json.dumps(document), "utf-8")
    save(load(path), path)
    again = json.loads(path.read_text("utf-8"))
    assert again["colour_of_the_room"] == "blue"
    assert again["lanes"][0]["microphone"] == {"kind": "ribbon"}
    assert again["versions"][0]["liked_by"] == ["the drummer"]


def test_the_previous_state_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "take.lagline"
    save(one_session(tmp_path), path)
    before = path.read_bytes()
    save(Session(rate_hz=44100, lanes=()), path)
    assert [point.path.read_bytes() for point in restore_points(path)] == [before]


@pytest.mark.parametrize("step", ["fsync", "replace", "write_bytes"])
def test_a_save_that_can_write_nothing_leaves_the_old_file_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    path = tmp_path / "take.lagline"
    old = one_session(tmp_path)
    save(old, path)
    owner = {"fsync": files.os, "replace": Path, "write_bytes": Path}[step]

    def fails(*args: Any, **kwargs: Any) -> Any:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(owner, step, fails)
    with pytest.raises(CannotWrite, match="No space left"):
        save(Session(rate_hz=44100, lanes=()), path)
    monkeypatch.undo()
    assert load(path) == old
    assert not list(tmp_path.rglob("*.part"))


class TestOnlyOverWhatIsKnown:
    """A writer that knows no locks may change the file at any time."""

    @pytest.fixture
    def path(self, tmp_path: Path) -> Path:
        save(one_session(tmp_path), tmp_path / "take.lagline")
        return tmp_path / "take.lagline"

    def test_what_is_known_is_replaced(self, path: Path) -> None:
        known = save(Session(rate_hz=44100, lanes=()), path, known=stamp(path))
        assert known == stamp(path)
        save(Session(rate_hz=96000, lanes=()), path, known=known)

    def test_what_is_not_is_left_alone(self, path: Path) -> None:
        known, when = stamp(path), path.stat().st_mtime_ns
        theirs = path.read_bytes().replace(b"near", b"NEAR")
        path.write_bytes(theirs)
        os.utime(path, ns=(when, when))  # of the same size and time
        with pytest.raises(ChangedOnDisk):
            save(Session(rate_hz=44100, lanes=()), path, known=known)
        assert path.read_bytes() == theirs

    def test_nor_when_it_changes_at_the_last_moment(
        self, path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        write = Path.write_bytes

        def write_both(self: Path, data: bytes) -> int:
            if self.parent == path.parent and b"lagline/session" in data:
                write(path, b"theirs")
            return write(self, data)

        monkeypatch.setattr(Path, "write_bytes", write_both)
        with pytest.raises(ChangedOnDisk):
            save(Session(rate_hz=44100, lanes=()), path)
        assert path.read_bytes() == b"theirs"

    def test_what_is_gone_is_written_again(self, path: Path) -> None:
        known = stamp(path)
        path.unlink()
        save(one_session(path.parent), path, known=known)
        assert load(path) == one_session(path.parent)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes with names here")
def test_where_something_else_is_nothing_is_saved(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "take.lagline")
    with pytest.raises(CannotWrite, match="not a file"):
        save(one_session(tmp_path), tmp_path / "take.lagline")


def test_an_autosave_opens_as_the_session_it_holds(tmp_path: Path) -> None:
    path = written(tmp_path, autosave={"owner": "whoever"})
    save(load(path), path)
    assert "autosave" not in json.loads(path.read_text("utf-8"))


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"schema": "something else"}, "does not begin"),
        ({"version": "one"}, "version is not a number"),
        ({"rate_hz": 0}, "rate of 0 Hz"),
        ({"rate_hz": "fast"}, "rate_hz"),
        ({"lanes": 3}, "`lanes` is not a list"),
        ({"lanes": [{"id": 1}]}, "lane"),
        ({"versions": []}, "versions"),
        ({"current_version_id": "v9"}, "current version"),
        ({"anchor_id": "lane-9"}, "anchor"),
        ({"loop": [5, 5]}, "loop ends"),
        ({"temperature_c": 1e300}, "air temperature"),
        ({"versions": [{"id": "v1", "name": "a", "moves": {"lane-9": {}}}]}, "not there"),
        ({"versions": [{"id": "v1", "name": "a", "moves": {"lane-1": {"polarity": 0}}}]}, "polarity"),
        ({"versions": [{"id": "v1", "name": "a", "moves": {"lane-1": {"shift_samples": 1e99}}}]}, "large"),
    ],
)
def test_senseless_values_are_refused_in_words(tmp_path: Path, changes: dict[str, Any], says: str) -> None:
    path = written(tmp_path, **changes)
    with pytest.raises(SessionUnreadable, match=says) as caught:
        load(path)
    assert path.name in str(caught.value)


NOT_SESSIONS = [b"", b"{", b"[1, 2]", b"\xff\xfe\x00", b'{"schema": NaN}', b"[" * 100_000]


@pytest.mark.parametrize("content", NOT_SESSIONS)
def test_what_is_not_a_session_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "take.lagline"
    path.write_bytes(content)
    with pytest.raises(SessionUnreadable, match=r"take\.lagline"):
        load(path)
    assert path.read_bytes() == content


def test_a_newer_file_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = written(tmp_path, version=99)
    with pytest.raises(SessionTooNew, match="newer"):
        load(path)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(FileMissing, match=r"gone\.lagline"):
        load(tmp_path / "gone.lagline")


def test_a_recording_whose_name_is_no_text_is_found_again(tmp_path: Path) -> None:
    """Discs written by old systems hold names in other encodings."""
    folder = tmp_path / os.fsdecode(b"caf\xe9")
    folder.mkdir()
    source = Source(folder / os.fsdecode(b"\xff.wav"), 0, 48_000, 100, 344)
    session = Session(rate_hz=48_000, lanes=(Lane("a", "Near", source),))
    for place in (folder / "take.lagline", tmp_path / "take.lagline"):
        save(session, place)
        assert load(place) == session


@pytest.mark.parametrize("path", [5, None, {"bytes_hex": "zz"}, {"bytes_hex": "00"}, {}, [], "a\0b"])
def test_a_path_that_is_none_is_refused(tmp_path: Path, path: Any) -> None:
    lane = {"id": "lane-1", "name": "Near"}
    lane["source"] = {"path": path, "channel": 0, "rate_hz": 48000, "frames": 9, "size_bytes": 9}
    with pytest.raises(SessionUnreadable, match="path"):
        load(written(tmp_path, lanes=[lane], versions=[{"id": "v1", "name": "a"}]))


def test_what_is_no_file_is_no_session(tmp_path: Path) -> None:
    with pytest.raises(SessionUnreadable, match="it is a folder"):
        load(tmp_path)


def test_a_file_far_too_large_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "take.lagline"
    with path.open("wb") as file:
        file.truncate(KIND.largest_bytes + 1)
    with pytest.raises(SessionUnreadable, match="far larger"):
        load(path)


def test_on_another_drive_the_whole_path_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def other_drive(_path: object, _start: object) -> str:
        raise ValueError("path is on mount 'D:', start on mount 'C:'")

    session = Session(rate_hz=48_000, lanes=(Lane("a", "Near", Source(tmp_path / "a.wav", 0, 48_000, 9, 9)),))
    with monkeypatch.context() as patch:
        patch.setattr(os.path, "relpath", other_drive)
        save(session, tmp_path / "take.lagline")
    assert str(tmp_path / "a.wav") in (tmp_path / "take.lagline").read_text("utf-8")
    assert load(tmp_path / "take.lagline") == session
