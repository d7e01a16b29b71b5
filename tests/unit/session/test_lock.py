"""One writer at a time, among real processes."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.support.gone_runs import run_and_end, running

from lagline.errors import OpenElsewhere
from lagline.session.lock import Lock, take
from lagline.session.owner import Owner, this_run
from lagline.session.places import beside, in_state
from lagline.session.storage import load, save
from lagline.session.values import Session


@pytest.fixture(autouse=True)
def own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LAGLINE_STATE_DIR", str(tmp_path / "state"))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    (tmp_path / "day").mkdir()
    save(Session(rate_hz=48000, lanes=()), tmp_path / "day" / "take.lagline")
    return tmp_path / "day" / "take.lagline"


@pytest.fixture
def elsewhere(path: Path) -> Iterator[None]:
    with running(path, "held = take(path)"):
        yield


def taken(path: Path, **more: Any) -> Lock:
    lock = take(path, **more)
    assert isinstance(lock, Lock)
    return lock


def changed(path: Path, **changes: Any) -> Path:
    """The lock of a session, as another run would have written it."""
    file = beside(path, ".lock")
    file.write_text(json.dumps({**json.loads(file.read_text("utf-8")), **changes}), "utf-8")
    return file


def test_who_has_it_is_told(path: Path, elsewhere: None) -> None:
    owner = take(path)
    assert isinstance(owner, Owner)
    assert owner.user == this_run().user and owner.process != os.getpid()
    assert owner.words == "another window on this computer"


def test_with_its_process_it_goes(path: Path) -> None:
    run_and_end(path, "take(path)")
    assert beside(path, ".lock").exists()
    taken(path)


def test_released_it_is_free(path: Path) -> None:
    taken(path).release()
    assert not beside(path, ".lock").exists()
    with running(path, "assert isinstance(take(path), Lock)"):
        pass


def test_taken_twice_by_us_it_is_ours_still(path: Path) -> None:
    assert taken(path).is_new and not taken(path).is_new


def test_taken_over_it_is_noticed_and_not_taken_away_again(path: Path) -> None:
    lock = taken(path)
    assert lock.sign() is None
    with running(path, "held = take(path, by_force=True)\nassert isinstance(held, Lock)"):
        owner = lock.sign()
        assert owner is not None and owner.process != os.getpid()
        lock.release()
        assert isinstance(take(path), Owner)


def test_while_it_is_held_elsewhere_nothing_is_saved(path: Path, elsewhere: None) -> None:
    with pytest.raises(OpenElsewhere, match="another window on this computer"):
        save(Session(rate_hz=44100, lanes=()), path)
    assert load(path).rate_hz == 48_000


def test_a_save_holds_it_only_for_its_time(path: Path) -> None:
    save(Session(rate_hz=44100, lanes=()), path)
    assert not beside(path, ".lock").exists()
    lock = taken(path)
    save(Session(rate_hz=48000, lanes=()), path)
    assert beside(path, ".lock").exists() and lock.sign() is None


@pytest.mark.parametrize(
    "changes",
    [
        {"boot": "11111111-2222-3333-4444-555555555555"},
        {"started": 1.0},
        {"process": 10**7},
    ],
)
def test_one_that_was_left_is_recognised(path: Path, elsewhere: None, changes: dict[str, Any]) -> None:
    changed(path, **changes)
    taken(path)


def test_on_another_machine_signs_of_life_count(path: Path, elsewhere: None) -> None:
    file = changed(path, machine="studio-b/", user="ada", boot="another")
    owner = take(path)
    assert isinstance(owner, Owner) and owner.words == "ada on studio-b"
    os.utime(file, (file.stat().st_mtime - 3_600,) * 2)
    taken(path)


def test_a_sign_is_seen(path: Path) -> None:
    lock = taken(path)
    file = beside(path, ".lock")
    os.utime(file, (1, 1))
    assert lock.sign() is None
    assert file.stat().st_mtime > 1_000


def test_one_that_vanished_is_made_again(path: Path) -> None:
    lock = taken(path)
    beside(path, ".lock").unlink()
    assert lock.sign() is None
    assert beside(path, ".lock").exists()


def test_one_that_tells_nothing_is_nobody_s(path: Path) -> None:
    """Locks are written whole: it is of something else, or was lost in a power cut."""
    for content in (b"", b"{", b"\xff", b"[]"):
        beside(path, ".lock").write_bytes(content)
        taken(path).release()


def test_one_that_may_not_be_read_is_somebody_s_as_long_as_there_are_signs(path: Path) -> None:
    file = beside(path, ".lock")
    file.mkdir()  # reading it fails, for the superuser too
    owner = take(path)
    assert isinstance(owner, Owner) and owner.words == "somebody on another computer"
    os.utime(file, (file.stat().st_mtime - 3_600,) * 2)
    taken(path)


def test_without_links_it_is_taken_all_the_same(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(*_: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", no_links)
    run_and_end(path, "take(path)")
    lock = taken(path)
    assert lock.sign() is None
    assert [file.name for file in path.parent.glob(".*lock*")] == [".take.lagline.lock"]


def test_everybody_may_read_who_has_it(path: Path) -> None:
    taken(path)
    assert beside(path, ".lock").stat().st_mode & 0o044 == 0o044 & ~_umask()


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


@pytest.fixture
def closed(path: Path) -> Path:
    """Beside this session no lock can be written, not even by the superuser: its name is too long."""
    return path.rename(path.with_name("x" * 245 + ".lagline"))


def test_where_nothing_can_be_written_beside_it_the_state_folder_takes_it(closed: Path) -> None:
    lock = taken(closed)
    assert in_state(closed, ".lock").exists()
    assert lock.sign() is None
    lock.release()
    assert not in_state(closed, ".lock").exists()
    with running(closed, "held = take(path)"):
        assert isinstance(take(closed), Owner)


def test_where_nothing_can_be_written_at_all_the_session_opens_all_the_same(
    closed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LAGLINE_STATE_DIR", str(tmp_path / "day" / "take.lagline" / "state"))
    lock = taken(closed)
    assert lock.sign() is None
    lock.release()
