"""Sessions of earlier formats open as what they meant, with the way they came to be."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from tests.support.random_sessions import balances, sessions

from lagline.errors import SessionUnreadable
from lagline.session.autosave import read_autosave
from lagline.session.history import History, packed
from lagline.session.storage import encoded_session, load, save
from lagline.session.values import Balance, Move, Session

# As a program of format 1 wrote it: the gains, pans and mutes are the lanes', one for all versions.
OLD: dict[str, Any] = {
    "schema": "lagline/session",
    "version": 1,
    "rate_hz": 48000,
    "name": "chapel",
    "lanes": [
        {
            "id": "lane-1",
            "name": "near",
            "source": {
                "path": "near.wav", "channel": 0, "rate_hz": 48000, "frames": 960000, "size_bytes": 2880044,
                "subtype": "PCM_24", "time_reference": None, "fingerprint": "",
            },
            "place_samples": 0, "gain_db": -3.5, "pan": -0.25, "mute": False, "solo": True, "link": None,
            "microphone": "ribbon",
        },
        {
            "id": "lane-2",
            "name": "far",
            "source": {
                "path": "far.wav", "channel": 0, "rate_hz": 48000, "frames": 960000, "size_bytes": 2880044,
                "subtype": "PCM_24", "time_reference": None, "fingerprint": "",
            },
            "place_samples": 0, "gain_db": 0.0, "pan": 0.0, "mute": True, "solo": False, "link": None,
        },
    ],
    "versions": [
        {"id": "v1", "name": "Shifted", "note": "", "origins": {}, "trying": {},
         "moves": {"lane-1": {"shift_samples": 101.37, "polarity": -1, "rate_ppm": 0.0}}},
        {"id": "v2", "name": "Half", "moves": {}, "liked_by": ["the drummer"]},
    ],
    "current_version_id": "v2",
}  # fmt: skip


def written(folder: Path, document: dict[str, Any], name: str = "old.lagline") -> Path:
    path = folder / name
    path.write_text(json.dumps(document), "utf-8")
    return path


def test_every_version_has_the_balance_the_lanes_had(tmp_path: Path) -> None:
    session = load(written(tmp_path, OLD))
    for version in session.versions:
        assert version.balance("lane-1") == Balance(-3.5, -0.25, False)
        assert version.balance("lane-2") == Balance(0.0, 0.0, True)
    assert session.version("v1").move("lane-1") == Move(101.37, -1)
    assert session.lane("lane-1").solo
    assert session.lane("lane-1").extra == {"microphone": "ribbon"}
    assert session.version("v2").extra == {"liked_by": ["the drummer"]}
    save(session, tmp_path / "new.lagline")
    document = json.loads((tmp_path / "new.lagline").read_text("utf-8"))
    assert document["version"] == 2
    assert load(tmp_path / "new.lagline") == session


def test_what_nobody_wrote_down_is_as_it_is(tmp_path: Path) -> None:
    lanes = [{key: value for key, value in lane.items() if key != "gain_db"} for lane in OLD["lanes"]]
    session = load(written(tmp_path, {**OLD, "lanes": lanes}))
    assert session.current_version.balance("lane-1") == Balance(0.0, -0.25)


WRONG: list[tuple[dict[str, Any], str]] = [
    ({"lanes": "none"}, "`lanes` is not a list"),
    ({"versions": None}, "`versions` is not a list"),
    ({"lanes": [7]}, "a lane is not an object"),
    ({"versions": [7]}, "a version is not an object"),
    ({"lanes": [{**OLD["lanes"][0], "gain_db": "loud"}]}, "gain_db"),
    ({"lanes": [{**OLD["lanes"][0], "pan": 4}]}, "gain or pan"),
    ({"lanes": [{"gain_db": 3}]}, "id"),
]


@pytest.mark.parametrize(("changes", "said"), WRONG)
def test_an_old_file_that_makes_no_sense_is_refused_in_words(
    tmp_path: Path, changes: dict[str, Any], said: str
) -> None:
    with pytest.raises(SessionUnreadable, match=said):
        load(written(tmp_path, {**OLD, **changes}))


def as_format_1(lanes: list[dict[str, Any]], versions: list[dict[str, Any]], of_lane: dict[str, Any]) -> None:
    """The lanes and versions of a document as format 1 had them: the balances with the lanes."""
    for lane in lanes:
        lane.update(of_lane[lane["id"]])
    for version in versions:
        version.pop("balances", None)


@settings(
    max_examples=500,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(session=sessions(), draw=st.data())
def test_random_old_sessions_open_as_what_they_meant(
    session: Session, draw: st.DataObject, tmp_path: Path
) -> None:
    one_for_all = {lane.id: draw.draw(balances) for lane in session.lanes}
    meant = replace(
        session, versions=tuple(replace(version, balances=one_for_all) for version in session.versions)
    )
    document = json.loads(encoded_session(meant, tmp_path))
    assert document["version"] == 2
    as_format_1(document["lanes"], document["versions"], msgspec.to_builtins(one_for_all))
    assert load(written(tmp_path, {**document, "version": 1})) == meant


def test_the_undo_steps_of_an_old_autosave_keep_their_balances(tmp_path: Path) -> None:
    """Three states that share lanes and versions in every way: moved, then turned up, then muted."""
    now = load(written(tmp_path, OLD))
    before = [
        replace(now, name="first"),
        replace(now, versions=(replace(now.versions[0], note="louder"), now.versions[1])),
        replace(now, lanes=tuple(replace(lane, solo=False) for lane in now.lanes)),
    ]
    history = packed(History((*before, now), ("a", "b", "c"), 3), tmp_path)
    parts = [msgspec.json.decode(part) for part in history["parts"]]
    old_gain = {"gain_db": 6.0, "pan": 0.5, "mute": False}
    for row in history["states"]:
        as_format_1([parts[n] for n in row.get("lanes", [])], [], {"lane-1": old_gain, "lane-2": old_gain})
        as_format_1([], [parts[n] for n in row.get("versions", [])], {})
    document = {**OLD, "autosave": {"history": {**history, "parts": parts}}}
    kept = read_autosave(written(tmp_path, document, "old.autosave"))
    first, second, third, last = kept.history.states
    assert kept.session == now == last
    assert first == before[0] and second == before[1]
    assert [lane.solo for lane in third.lanes] == [False, False]
    assert {version.balance(lane.id) for version in third.versions for lane in third.lanes} == {
        Balance(6.0, 0.5)
    }


@pytest.mark.parametrize("history", [7, {"parts": []}, {"parts": [], "states": [{"lanes": [3]}]}])
def test_an_old_history_that_makes_no_sense_leaves_the_work_whole(tmp_path: Path, history: object) -> None:
    kept = read_autosave(written(tmp_path, {**OLD, "autosave": {"history": history}}, "old.autosave"))
    assert kept.session == load(written(tmp_path, OLD))
    assert kept.history == History((kept.session,))
