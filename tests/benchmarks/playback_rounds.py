"""What the engine holds after hundreds of rounds: play, seek, switch, edit, loop, stop, another output."""

from __future__ import annotations

import random
import time
from contextlib import suppress

import psutil
from playback_common import load, parser, take, timed_device, until

from lagline.playback.board import Field
from lagline.playback.player import Player
from lagline.session import edits


def main() -> None:
    arguments = parser(__doc__)
    arguments.add_argument("--rounds", type=int, default=500)
    arguments.add_argument("--every", type=int, default=50, help="rounds between two counts, and two outputs")
    arguments.add_argument("--device", choices=["clock", "jack"], default="clock")
    arguments.add_argument("--lanes", type=int, default=8)
    given = arguments.parse_args()
    session, dice, began = take(given.folder, given.lanes, 90.0), random.Random(1), time.perf_counter()
    with timed_device(given.device, 48_000, 256) as name, Player(measure_levels=False) as player:
        player.load(session)
        for number in range(1, given.rounds + 1):
            if number % given.every == 1:
                player.set_device(name, block_frames=256)
            player.play()
            until(lambda: bool(player.board[Field.SOUNDING]))
            player.seek(dice.randrange(60 * 48_000))
            player.select(dice.choice(["original", "v1"]))
            start = dice.randrange(60 * 48_000)
            loop = dice.choice([None, (start, start + 48_000)])
            player.load(edits.with_loop(edits.with_gain(session, "l0", -dice.uniform(0.0, 12.0)), loop))
            time.sleep(dice.uniform(0.0, 0.1))
            player.stop()
            until(lambda: not player.board[Field.SOUNDING])
            if number % given.every == 0 or number == 1:
                print(f"{number:5} rounds  {held(player.engine_pid)}", flush=True)
        said = player.state().message or "nothing"
        print(f"{given.device}, {time.perf_counter() - began:.0f} s, it said {said}; {load()}")


def held(pid: int | None) -> str:
    """Threads, open files and memory of a process."""
    engine = psutil.Process(pid)
    files: object = "?"
    with suppress(AttributeError):  # handles on Windows
        files = engine.num_fds()
    return f"{engine.num_threads()} threads  {files} files  {engine.memory_info().rss / 2**20:.1f} MiB"


if __name__ == "__main__":
    main()
