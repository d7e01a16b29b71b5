"""From killing the engine to hearing the take again."""

from __future__ import annotations

import time

import psutil
from playback_common import load, parser, take, timed_device, until

from lagline.playback.board import Field
from lagline.playback.engine_keeper import RESTARTS_WITHIN_S
from lagline.playback.player import Player


def main() -> None:
    arguments = parser(__doc__)
    arguments.add_argument("--lanes", type=int, default=8)
    arguments.add_argument("--times", type=int, default=5)
    arguments.add_argument("--device", choices=["clock", "jack"], default="clock")
    given = arguments.parse_args()
    session = take(given.folder, given.lanes, 90.0)
    with timed_device(given.device, 48_000, 256) as name, Player(measure_levels=False) as player:
        player.load(session)
        player.set_device(name)
        began = time.perf_counter()
        player.play()
        until(lambda: player.state().position > 0)
        print(f"first play to sound: {time.perf_counter() - began:.2f} s; {load()}")
        for _ in range(given.times):
            time.sleep(RESTARTS_WITHIN_S / 3)
            pid, place = player.engine_pid, player.state().position
            jump, said = player.board[Field.JUMP], player.state().message_count
            began = time.perf_counter()
            psutil.Process(pid).kill()
            until(lambda pid=pid: player.engine_pid not in (None, pid))
            until(lambda jump=jump: player.board[Field.JUMP] > jump)
            until(lambda: bool(player.board[Field.SOUNDING]))
            sounding = time.perf_counter() - began
            until(lambda said=said: player.state().message_count > said)
            print(
                f"sounding again after {sounding:.2f} s, said within {time.perf_counter() - began:.2f} s, "
                f"{player.state().position - place} samples further; {load()}",
                flush=True,
            )


if __name__ == "__main__":
    main()
