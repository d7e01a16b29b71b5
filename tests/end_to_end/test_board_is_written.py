"""Every cell of a large board as the device is sent it, against its printed file.

Eight lanes, 510 cells, on the real path: player, engine process, PortAudio. The listener goes through cells
far apart from each other while it plays.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from tests.support.alsa_capture import NAME, captured, configuration, require_portaudio
from tests.support.playback_processes import until

from lagline.blend.passage import fade_frames
from lagline.combinations.cells import Cell, board_session, laid_out, parts_of
from lagline.deliver.options import DeliveryOptions
from lagline.jobs.combine import hand_over_cells
from lagline.playback.board import Field
from lagline.playback.guard import NO_LIMIT
from lagline.playback.player import Player
from lagline.playback.protocol import Settings
from lagline.session.values import Balance, Lane, Move, Session, Source, Version

RATE_HZ = 48_000
SECONDS = 16
START, STAY = 4_000, 18_000  # frames: where playing starts, and how long a cell is listened to
FADE = fade_frames(RATE_HZ)
NOTHING = 1e-6  # -120 dB, against the sound itself


def take(folder: Path) -> Session:
    """Eight lanes of noise, shifted by fractions, at balances of their own."""
    rng = np.random.default_rng(3)
    common = rng.standard_normal(SECONDS * RATE_HZ)
    lanes, moves, balances = [], {}, {}
    for number, lane_id in enumerate("abcdefgh"):
        own = rng.standard_normal(len(common))
        sound = np.roll(0.04 * common, 37 * number) + 0.02 * own
        path = folder / f"{lane_id}.wav"
        soundfile.write(path, sound.astype(np.float32), RATE_HZ, subtype="FLOAT")
        source = Source(path, 0, RATE_HZ, len(sound), path.stat().st_size, "FLOAT")
        lanes.append(Lane(lane_id, lane_id, source))
        moves[lane_id] = Move(259.0 - 36.6 * number, -1 if number == 3 else 1)
        balances[lane_id] = Balance(gain_db=-float(number), pan=number / 4.0 - 0.9)
    version = Version("v1", "Lined up", moves, balances)
    return Session(rate_hz=RATE_HZ, lanes=tuple(lanes), versions=(version,), name="Eight")


def test_cells_far_apart_are_heard_at_once_and_as_they_are_printed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    require_portaudio()
    monkeypatch.setenv("ALSA_CONFIG_PATH", configuration(tmp_path))
    session = take(tmp_path)
    cells = laid_out(parts_of(session), ("original", "v1"), 255)
    assert len(cells) == 510
    quietest = [cell for cell in cells if cell.name == "h"]  # one of them sets the level of all the others
    visited = [*quietest, *(cells[(17 + 211 * number) % len(cells)] for number in range(12))]
    sent = listened(board_session(session, cells), visited, tmp_path)
    done = hand_over_cells(session, visited, tmp_path / "out", DeliveryOptions(depth="float", peak_dbtp=None))
    files = [path for path in done.paths if path.suffix == ".wav"]
    file_start = board_session(session, visited).span(*board_session(session, visited).versions)[0]

    at = FADE
    for cell, path in zip(visited, files, strict=True):
        written = soundfile.read(path, dtype="float32", always_2d=True)[0][START - file_start :]
        length = min(len(sent), len(written))
        same = np.abs(sent[:length] - written[:length]).max(axis=1) < NOTHING * written.std()
        begins = at + int(np.argmin(~same[at:]))
        assert begins - at <= 2 * FADE + 2, f"{cell.name} begins {begins - at} frames late"
        ends = begins + int(np.argmin(same[begins:]))
        assert ends - begins > STAY / 2, f"{cell.name} is not what was printed"
        at = ends


def listened(board: Session, visited: Sequence[Cell], folder: Path) -> npt.NDArray[np.float32]:
    """From START on, one cell after the other, as the device was sent it."""
    with Player(Settings(patient=True, speed=2.0)) as player:
        player.load(board)
        player.mix_from_lanes(True)
        until(lambda: player.state().levels_known)
        player.set_device(NAME)
        player.set_monitor_gain(0.0)
        player.set_guard(NO_LIMIT)
        player.select(visited[0].id)
        player.seek(START)
        player.play()
        for cell in visited:
            turn, is_new = player.board[Field.TURN], cell is not visited[0]
            player.select(cell.id)
            until(lambda turn=turn, is_new=is_new: not is_new or player.board[Field.TURN] != turn)
            begun = player.state().position
            until(lambda begun=begun: player.state().position > begun + STAY)
        assert player.state().starved == 0
        player.stop()
        until(lambda: not player.state().playing)
    sent = captured(folder)
    return sent[int(np.flatnonzero(sent.any(axis=1))[0]) :]
