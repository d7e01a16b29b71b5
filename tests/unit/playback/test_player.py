"""The player with real processes, on the silent clock."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support.playback_processes import engines, until
from tests.support.short_take import LENGTH, RATE_HZ, VERSION, take

from lagline.blend.clips import open_clips
from lagline.blend.loudness import loudness
from lagline.errors import EngineFailed, NotInSession
from lagline.playback import protocol
from lagline.playback.board import Field
from lagline.playback.heard import MOST_READY
from lagline.playback.helper import Helper
from lagline.playback.player import START_GAIN_DB, Player
from lagline.playback.protocol import SILENT_CLOCK
from lagline.session import edits
from lagline.session.values import Move, Session, Version


@pytest.fixture
def session(tmp_path: Path) -> Session:
    return take(tmp_path)


@pytest.fixture
def player(session: Session) -> Iterator[Player]:
    with Player() as made:
        made.load(session)
        made.set_device(SILENT_CLOCK)
        yield made
    assert not [child for child in multiprocessing.active_children() if "lagline" in child.name]


def test_nothing_is_started_before_it_is_needed(session: Session):
    with Player(measure_levels=False) as player:
        player.load(session)
        player.seek(1_234)
        player.select("v1")
        state = player.state()
        assert player.engine_pid is None
        assert (state.position, state.version_id, state.playing) == (1_234, "v1", False)
        assert state.device_name is None
        assert not multiprocessing.active_children()


def test_it_starts_low(player: Player):
    assert player.state().monitor_gain_db == pytest.approx(START_GAIN_DB)
    assert START_GAIN_DB <= -20.0


def test_play_moves_and_stop_stays(player: Player):
    player.seek(10_000)
    player.play()
    until(lambda: player.state().position > 20_000)
    state = player.state()
    assert state.playing and state.is_silent and state.device_rate_hz == RATE_HZ
    assert state.peak_dbfs[0] > -60
    player.stop()
    time.sleep(0.1)
    place = player.state().position
    time.sleep(0.1)
    assert player.state().position == place and not player.state().playing


def test_at_the_end_it_stops_and_starts_again_from_the_top(player: Player):
    player.seek(LENGTH - 2_000)
    player.play()
    until(lambda: not player.state().playing)
    assert player.state().position >= LENGTH - 500
    player.play()
    until(lambda: 0 < player.state().position < LENGTH // 2)


def test_play_goes_into_the_loop(player: Player, session: Session):
    player.load(edits.with_loop(session, (40_000, 50_000)))
    player.play()
    seen: list[int] = []

    def has_come_round() -> bool:
        seen.append(player.state().position)
        return len(seen) > 1 and 40_000 <= seen[-1] < seen[-2]

    until(has_come_round)
    assert max(seen) < 50_000


def test_a_loop_of_the_same_take_moves_nothing_before_play(player: Player, session: Session):
    player.load(edits.with_loop(session, (1_000, 30_000)))
    assert player.state().position == 0
    player.play()
    until(lambda: player.state().position > 1_000)


def test_levels_are_measured_and_matched(player: Player, session: Session):
    until(lambda: bool(player.state().loudness_lufs))
    state = player.state()
    clips, (start, stop) = open_clips(session), session.span()
    assert state.loudness_lufs["original"] == pytest.approx(
        loudness(session, session.original, clips, start, stop), abs=0.02
    )
    assert state.loudness_lufs["v1"] == pytest.approx(
        loudness(session, VERSION, clips, start, stop), abs=0.02
    )
    matched = {key: lufs + state.match_db[key] for key, lufs in state.loudness_lufs.items()}
    assert abs(matched["original"] - matched["v1"]) < 0.1
    assert max(state.match_db.values()) == 0.0
    until(lambda: not player.state().measuring)
    player.load(edits.with_gain(session, "a", -20.0))
    assert player.state().measuring
    until(lambda: not player.state().measuring)
    assert player.state().loudness_lufs["original"] < state.loudness_lufs["original"]


def test_levels_that_could_not_be_measured_stay_but_are_not_called_known(player: Player, session: Session):
    until(lambda: bool(player.state().match_db) and not player.state().measuring)
    gains = player._transport.wanted.match_gains
    assert min(gains.values()) < 1.0 and player.state().levels_known
    (meter,) = [child for child in multiprocessing.active_children() if child.name == "lagline levels"]
    assert meter.pid is not None
    os.kill(meter.pid, signal.SIGSTOP)
    player.load(edits.with_gain(session, "a", -20.0))
    until(lambda: player._levels is not None and player._levels.wait_s() is None)
    os.kill(meter.pid, signal.SIGKILL)
    until(lambda: not player.state().measuring)
    until(lambda: "could not be measured" in player.state().message)
    assert player._transport.wanted.match_gains == gains
    assert not player.state().levels_known


def test_a_killed_engine_is_back_and_says_so(player: Player):
    player.seek(5_000)
    player.play()
    until(lambda: player.state().position > 10_000)
    first = player.engine_pid
    said = player.state().message_count
    os.kill(first, 9)
    until(lambda: player.state().message_count > said)
    assert "started again" in player.state().message
    place = player.state().position
    assert place > 5_000
    until(lambda: player.state().position > place + 2_000)
    assert player.engine_pid not in (None, first)
    assert player.state().playing


def test_the_desk_does_not_wait_for_a_dead_engine_to_be_cleared_away(
    player: Player, monkeypatch: pytest.MonkeyPatch
):
    clear, clearing = threading.Event(), threading.Event()
    close = Helper.close

    def slow_close(helper: Helper) -> str:
        clearing.set()
        assert clear.wait(60)
        return close(helper)

    player.play()
    until(lambda: player.state().position > 0)
    monkeypatch.setattr(Helper, "close", slow_close)
    first = player.engine_pid
    os.kill(first, signal.SIGKILL)
    assert clearing.wait(30)
    asked: list[bool] = []
    desk = threading.Thread(target=lambda: asked.append(player.state().playing))
    desk.start()
    desk.join(20)
    clear.set()
    assert asked == [True], "the desk waited"
    until(lambda: player.engine_pid not in (None, first))


def test_a_spare_takes_the_place_of_a_dead_engine(player: Player):
    player.play()
    until(lambda: len(engines()) == 2)
    first = player.engine_pid
    (spare,) = engines() - {first}
    os.kill(first, signal.SIGKILL)
    until(lambda: player.engine_pid == spare)
    until(lambda: player.state().position > 0)
    until(lambda: len(engines()) == 2)


def test_a_spare_that_dies_disturbs_nothing(player: Player):
    player.play()
    until(lambda: len(engines()) == 2)
    first = player.engine_pid
    (spare,) = engines() - {first}
    os.kill(spare, signal.SIGKILL)
    until(lambda: engines() == {first})
    said, place = player.state().message_count, player.state().position
    until(lambda: player.state().position != place)
    assert player.engine_pid == first and player.state().message_count == said


def test_an_engine_that_fails_says_why(player: Player, caplog: pytest.LogCaptureFixture):
    player.play()
    until(lambda: player.state().position > 0)
    player._tell("nonsense that pickles but is no material")  # type: ignore[arg-type]
    player._tell(protocol.Show(None))  # type: ignore[arg-type]
    until(lambda: "started again" in player.state().message)
    assert "AttributeError" in player.state().message
    assert "Traceback" in caplog.text and "AttributeError" in caplog.text
    until(lambda: player.state().is_silent and player.state().playing)


def test_a_command_to_an_engine_that_just_died_is_no_error(player: Player):
    player.play()
    until(lambda: player.state().position > 0)
    first = player.engine_pid
    os.kill(first, signal.SIGKILL)
    for n in range(200):
        player.seek(n)
        player.set_monitor_gain(-30.0 - n / 100)
    until(lambda: player.engine_pid not in (None, first))


def test_another_take_is_not_heard_at_the_gains_of_the_one_before(
    player: Player, session: Session, tmp_path: Path
):
    until(lambda: bool(player.state().match_db))
    gains = player._transport.wanted.match_gains
    assert min(gains.values()) < 1.0
    (tmp_path / "other").mkdir()
    player.load(take(tmp_path / "other"))
    assert player._transport.wanted.match_gains == {} == player.state().match_db
    until(lambda: bool(player.state().match_db))


def test_an_engine_that_keeps_dying_is_given_up(player: Player):
    player.play()
    for _ in range(4):
        until(lambda: player.engine_pid is not None and player.state().playing)
        pid = player.engine_pid
        os.kill(pid, 9)
        until(lambda pid=pid: player.engine_pid != pid)
    assert player.engine_pid is None
    assert not player.state().playing
    assert "Press play" in player.state().message
    player.play()
    assert player.engine_pid is not None


def test_a_blind_trial_hides_everything_that_tells(player: Player):
    until(lambda: bool(player.state().loudness_lufs))
    player.select("v1")
    player.set_hidden(True, ("original", "v1"))
    state = player.state()
    assert state.version_id is None and state.peak_dbfs is None and state.true_peak_dbtp is None
    assert state.reduction_db is None and not state.loudness_lufs and not state.match_db
    player.set_hidden(False)
    assert player.state().version_id == "v1" and player.state().peak_dbfs is not None


def test_switching_in_a_trial_renders_nothing_anew(session: Session):
    """Both versions stay ready, so that no switch takes longer than another and gives itself away."""
    versions = tuple(Version(id=f"v{n}", name=f"{n}", moves={"a": Move(-n)}) for n in range(1, 8))
    with Player(measure_levels=False) as player:
        player.load(replace(session, versions=versions))
        for version_id in ("v6", "v2", "v7"):
            player.select(version_id)
        player.set_hidden(True, ("v3", "v5"))
        player.select("v3")
        material = player._material
        assert material is not None and {"v3", "v5"} <= set(material.version_ids)
        for version_id in ("v5", "v3", "v3", "v5"):
            player.select(version_id)
            assert player._material == material


def test_many_trials_leave_no_longer_list_of_versions_than_there_are(session: Session):
    with Player(measure_levels=False) as player:
        player.load(session)
        for hidden in (True, False) * 20:
            player.set_hidden(hidden, ("original", "v1"))
        assert player._recent == ("original", "v1")


def test_a_deleted_version_is_left_for_the_original(player: Player, session: Session):
    two = edits.with_new_version(session, "second", copy_of="v1")
    player.load(two)
    player.select("v2")
    player.load(session)
    assert player.state().version_id == "original"


def test_another_take_begins_at_its_beginning(player: Player, session: Session, tmp_path: Path):
    player.seek(30_000)
    player.play()
    until(lambda: player.state().position > 31_000)
    (tmp_path / "other").mkdir()
    player.load(take(tmp_path / "other"))
    assert not player.state().playing
    assert player.state().position == 0


def test_what_cannot_be_done_is_refused(player: Player):
    with pytest.raises(NotInSession):
        player.select("nowhere")
    with Player(measure_levels=False) as empty, pytest.raises(EngineFailed, match="no take is open"):
        empty.play()


def test_the_volume_has_limits(player: Player):
    player.set_monitor_gain(99.0)
    assert player.state().monitor_gain_db == pytest.approx(12.0)
    player.set_monitor_gain(-999.0)
    assert player.state().monitor_gain_db == float("-inf")


def test_an_output_that_is_not_there_is_tried_again_at_the_next_play(player: Player):
    player.set_device("Nowhere")
    player.play()
    until(lambda: "Nowhere" in player.state().message)
    until(lambda: player.state().device_name is not None)
    told = player.state().message_count
    player.play()  # another play by the clock that runs: nothing to stop it for
    player.stop()
    until(lambda: not player.board[Field.SOUNDING])
    assert player.state().message_count == told
    player.play()
    until(lambda: player.state().message_count == told + 1)
    assert player.state().playing and "Nowhere" in player.state().message


def test_a_silent_clock_by_choice_is_no_output_that_is_missing(player: Player):
    for _ in range(3):
        player.play()
        until(lambda: bool(player.board[Field.SOUNDING]))
        player.stop()
        until(lambda: not player.board[Field.SOUNDING])
    assert player.state().is_silent and not player.state().message
    assert player.board[Field.UNDERRUNS] == 0


def test_devices_can_be_asked_for(player: Player):
    assert isinstance(player.devices(), tuple)


def test_who_only_asks_for_outputs_has_no_spare(session: Session, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("lagline.playback.engine_keeper.SPARE_AFTER_S", 0.0)
    with Player(measure_levels=False) as player:
        player.load(session)
        player.set_device(SILENT_CLOCK)
        for _ in range(2):
            player.devices()
        assert engines() == {player.engine_pid}
        player.play()
        until(lambda: len(engines()) == 2)


def test_edits_that_cannot_be_heard_do_not_reach_the_engine(player: Player, session: Session):
    until(lambda: not player.state().measuring)
    player.load(replace(session, notes="a note", temperature_c=3.0, name="Other name"))
    assert not player.state().measuring


def test_mixed_from_lanes_every_version_is_at_hand(player: Player, session: Session):
    for number in range(8):
        session = edits.with_new_version(session, f"Version {number}", copy_of="v1")
    player.load(session)
    assert len(player._material.version_ids) == MOST_READY
    player.mix_from_lanes(True)
    every = ("original", *(version.id for version in session.versions))
    assert player._material.version_ids == every and player._material.is_mixed
    player.select(every[-1])
    assert player._material.version_ids == every  # nothing to render anew
    player.mix_from_lanes(False)
    assert len(player._material.version_ids) == MOST_READY
