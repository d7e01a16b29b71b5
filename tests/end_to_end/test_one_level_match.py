"""Equal loudness is one thing: what is heard, printed and reported is turned down by the same gains."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from msgspec.structs import replace
from PySide6.QtCore import QSettings
from pytestqt.qtbot import QtBot
from tests.support.desk_door import NotedDesk
from tests.support.fake_desk import FakeQuestions
from tests.support.playback_processes import until
from tests.support.short_take import take

from lagline.blend.clips import open_clips
from lagline.blend.loudness_match import matched_gains
from lagline.cli.run import run
from lagline.deliver.hand_over import Order, hand_over
from lagline.deliver.options import DeliveryOptions
from lagline.deliver.report_parts import measured_for_report
from lagline.deliver.report_values import report_words
from lagline.desk.window import DeskWindow
from lagline.playback.player import Player
from lagline.session import edits
from lagline.session.storage import SUFFIX, save
from lagline.session.values import Move, Session, Version

# Quieter than the others, later than the take, so that passages and versions taken otherwise would show.
THIRD = Version(
    id="v2", name="Third", moves={"a": Move(4_000.5, -1), "b": Move(-3_000.0), "c": Move(0.0, -1)}
)


def heard(session: Session) -> tuple[dict[str, float], dict[str, float]]:
    """Loudness and gains as the player has them."""
    with Player() as player:
        player.load(session)
        until(lambda: bool(player.state().match_db) and not player.state().measuring, 60.0)
        return player.state().loudness_lufs, player.state().match_db


def take_with(folder: Path, loop: tuple[int, int] | None) -> Session:
    session = take(folder)  # with one recording behind every lane, so that shifts change the loudness
    lanes = tuple(replace(lane, source=session.lanes[0].source) for lane in session.lanes)
    session = replace(session, lanes=lanes)
    third = replace(THIRD, balances=session.current_version.balances)
    return edits.with_loop(replace(session, versions=(*session.versions, third)), loop)


def played_on_the_desk(path: Path, qtbot: QtBot, settings: QSettings) -> dict[str, float]:
    """Gains by version id after opening a session file in the window, without touching anything."""
    window = DeskWindow(Player(), settings, FakeQuestions())
    try:
        window.parts.files.open([path])
        qtbot.waitUntil(lambda: window.parts.store.session is not None, timeout=30_000)
        playing = window.parts.playing
        qtbot.waitUntil(lambda: bool(playing.told.match_db) and not playing.told.measuring, timeout=60_000)
        qtbot.waitUntil(window.is_drawn, timeout=30_000)
        return playing.told.match_db
    finally:
        window.close()
        window.deleteLater()


def rms(path: Path) -> float:
    return float(np.sqrt(np.mean(soundfile.read(path)[0] ** 2)))


def printed_by_the_command_line(path: Path, out: Path) -> dict[str, float]:
    """Gains by version name, taken from the sound of the files themselves."""
    levels = []
    for folder, more in ((out / "matched", ["--match"]), (out / "plain", [])):
        words = ["render", str(path), "--out", str(folder), "--all-versions", "--depth", "float", *more]
        assert run(words, NotedDesk()) == 0
        levels.append({file.stem.split(" - ")[-1]: rms(file) for file in folder.glob("* blend *.wav")})
    matched, plain = levels
    return {name: 20 * np.log10(matched[name] / plain[name]) for name in plain}


@pytest.mark.parametrize("loop", [None, (20_000, 24_000)])
def test_the_desk_and_the_command_line_match_a_session_alike(
    tmp_path: Path, loop: tuple[int, int] | None, qtbot: QtBot
):
    session = take_with(tmp_path, loop)
    path = tmp_path / f"take{SUFFIX}"
    save(session, path)
    on_the_desk = played_on_the_desk(
        path, qtbot, QSettings(str(tmp_path / "settings.ini"), QSettings.Format.IniFormat)
    )
    printed = printed_by_the_command_line(path, tmp_path / "out")
    names = {"original": "Original", **{version.id: version.name for version in session.versions}}
    assert len(printed) == 3
    for version_id, name in names.items():
        assert printed[name] == pytest.approx(on_the_desk[version_id], abs=1e-3), name


def test_the_loop_above_makes_a_difference(tmp_path: Path):
    """Or the test above could not see which passage was measured."""
    whole, looped = (
        matched_gains(session, open_clips(session)).gains_db
        for session in (take_with(tmp_path, None), take_with(tmp_path, (20_000, 24_000)))
    )
    assert max(abs(whole[key] - looped[key]) for key in whole) > 0.01


@pytest.mark.parametrize("loop", [None, (20_000, 55_000), (30_000, 30_500)])
def test_heard_printed_and_reported_gains_are_equal(tmp_path: Path, loop: tuple[int, int] | None):
    session = take_with(tmp_path, loop)
    clips = open_clips(session)
    lufs, gains_db = heard(session)
    assert min(gains_db.values()) < -0.2 and max(gains_db.values()) == 0.0

    ids = ("original", "v1", "v2")
    for blends in (ids, ids[:2]):  # what else is printed makes no difference
        order = Order(blends_of=blends, level_matched=True, options=DeliveryOptions(depth="float"))
        printed = hand_over(session, clips, tmp_path / f"{len(blends)}", order)
        assert [file.gain_db for file in printed.files if file.kind == "blend"] == [
            gains_db[key] for key in blends
        ]

    report = measured_for_report(session, session.version("v1"), clips)
    assert report.loudness_lufs == lufs and report.match_db == gains_db
    table = report_words(session, session.version("v1"), report).versions
    place = table.headings.index("gain to match")
    for key, row in zip(ids, table.rows, strict=True):
        assert float(row[place].removesuffix(" dB")) == pytest.approx(gains_db[key], abs=0.051)
