"""What hardly ever happens, on lines that must stay covered: see covered.py."""

from __future__ import annotations

import platform
import zlib
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import psutil
import pytest
from msgspec.structs import replace
from tests.robustness.target_media import overview_seeds
from tests.support.full_session import full_session

from lagline.errors import NoPermission, SessionUnreadable
from lagline.media import overview_file
from lagline.media.ixml import retimed_ixml
from lagline.media.quantise import pcm_bytes
from lagline.session import owner, storage


def test_a_process_that_may_not_be_looked_at_counts_as_running(monkeypatch: pytest.MonkeyPatch) -> None:
    ours = owner.this_run()

    def refuse(process: int) -> None:
        raise psutil.AccessDenied(process)

    monkeypatch.setattr(psutil, "Process", refuse)
    assert not owner.is_gone(replace(ours, token="another"), 0.0)


def test_who_has_no_name_and_no_boot_is_told_by_process(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise OSError

    for module, name in ((owner.getpass, "getuser"), (owner.Path, "read_text"), (owner.Path, "readlink")):
        monkeypatch.setattr(module, name, refuse)
    nobody = owner.this_run.__wrapped__()
    assert (nobody.user, nobody.boot, nobody.machine) == ("somebody", "", f"{platform.node()}/")


def test_a_session_nobody_may_read_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "take.lagline"
    storage.save(full_session(tmp_path), path)

    def refuse(_self: Path) -> bytes:
        raise PermissionError  # modes of files do not bind the superuser

    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(NoPermission):
        storage.load(path)


def test_a_session_larger_than_any_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "huge.lagline"
    with path.open("wb") as file:
        file.truncate(storage.KIND.largest_bytes + 1)
    with pytest.raises(SessionUnreadable, match="far larger than any session"):
        storage.load(path)


def test_a_session_with_what_no_file_can_hold_is_not_written(tmp_path: Path) -> None:
    session = replace(full_session(tmp_path), extra={"note": object()})
    with pytest.raises(TypeError, match="a session holds no object"):
        storage.save(session, tmp_path / "take.lagline")
    assert list(tmp_path.iterdir()) == []


def test_a_list_of_tracks_without_a_count_keeps_the_one_track() -> None:
    text = b"<BWFXML><TRACK_LIST><TRACK><INTERLEAVE_INDEX>2</INTERLEAVE_INDEX></TRACK></TRACK_LIST></BWFXML>"
    written = retimed_ixml(text, time_reference=1, rate_hz=48_000, bits=24, channels=[1])
    assert written is not None
    assert [one.text for one in ElementTree.fromstring(written).iter("INTERLEAVE_INDEX")] == ["1"]


def test_a_cached_drawing_of_another_length_is_made_again(tmp_path: Path) -> None:
    whole = overview_seeds()[0][:-4]
    path = tmp_path / "x.overview"
    for kept in (whole, whole[:-8]):
        path.write_bytes(kept + zlib.crc32(kept).to_bytes(4, "little"))
        found = overview_file.load(path, 700, 2)
        assert (found is not None) == (kept is whole)


def test_samples_of_eight_bits_are_not_packed() -> None:
    with pytest.raises(ValueError, match="PCM of 8 bits"):
        pcm_bytes(np.zeros(3, np.int32), 8)
