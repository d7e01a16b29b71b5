"""Callback duration as part of its deadline, by block size and number of lanes."""

from __future__ import annotations

import time

from playback_common import load, parser, take, timed_device, timing, until

from lagline.playback.board import Field
from lagline.playback.player import Player


def main() -> None:
    arguments = parser(__doc__)
    arguments.add_argument("--seconds", type=float, default=5.0)
    arguments.add_argument("--device", choices=["clock", "jack"], default="clock")
    arguments.add_argument("--blocks", type=int, nargs="+", default=[128, 256, 512])
    arguments.add_argument("--lanes", type=int, nargs="+", default=[2, 8, 16, 32])
    given = arguments.parse_args()
    print(
        f"device: {given.device}; {given.seconds:g} s each at 48 kHz, 2 versions, switched 4 times a second"
    )
    for block in given.blocks:
        with timed_device(given.device, 48_000, block) as name:
            for lanes in given.lanes:
                with Player(measure_levels=False) as player:
                    player.load(take(given.folder, lanes, 30.0))
                    player.set_device(name, block_frames=block)
                    player.play()
                    until(lambda player=player: player.state().position > 24_000)
                    player.board.clear_timing()
                    player.board[Field.STARVED] = player.board[Field.UNDERRUNS] = 0
                    stop = time.perf_counter() + given.seconds
                    while time.perf_counter() < stop:
                        time.sleep(0.25)
                        player.select("v1" if player.state().version_id == "original" else "original")
                    silent = player.state().is_silent and given.device != "clock"
                    note = "  NO DEVICE: silent clock" if silent else ""
                    print(f"{block:4} frames {lanes:3} lanes  {timing(player)}  {load()}{note}", flush=True)


if __name__ == "__main__":
    main()
