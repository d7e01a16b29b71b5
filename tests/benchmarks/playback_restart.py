"""From killing the engine to hearing the take again."""

from __future__ import annotations

import time

import psutil
from playback_common import load, parser, take, until

from lagline.playback.board import Field
from lagline.playback.player import RESTARTS_WITHIN_S, Player
from lagline.playback.protocol import SILENT_CLOCK


def main() -> None:
    arguments = parser(__doc__)
    arguments.add_argument("--lanes", type=int, default=8)
    arguments.add_argument("--times", type=int, default=5)
    given = arguments.parse_args()
    session = take(given.folder, given.lanes, 90.0)
    with Player(measure_levels=False) as player:
        player.load(session)
        player.set_device(SILENT_CLOCK)
        began = time.perf_counter()
        player.play()
        until(lambda: player.state().position > 0)
        print(f"first play to sound: {time.perf_counter() - began:.2f} s; {load()}")
        for _ in range(given.times):
            time.sleep(RESTARTS_WITHIN_S / 3)
            pid, place = player.engine_pid, player.state().position
            began = time.perf_counter()
            psutil.Process(pid).kill()
            until(lambda pid=pid: player.engine_pid not in (None, pid))
            told = time.perf_counter() - began
            jump = player.board[Field.JUMP]
            until(lambda jump=jump: player.board[Field.JUMP] > jump)
            until(lambda: bool(player.board[Field.SOUNDING]))
            print(
                f"noticed and said after {told:.3f} s, sounding after {time.perf_counter() - began:.2f} s, "
                f"{player.state().position - place} samples further; {load()}",
                flush=True,
            )


if __name__ == "__main__":
    main()
