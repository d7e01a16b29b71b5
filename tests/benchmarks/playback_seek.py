"""From asking for a place to hearing it, in long takes: sixteen lanes of an hour at 96 kHz, WAV and FLAC."""

from __future__ import annotations

import random
import time

import numpy as np
import psutil
from playback_common import load, parser, take, until

from lagline.playback.board import Field
from lagline.playback.player import Player
from lagline.playback.protocol import SILENT_CLOCK


def main() -> None:
    arguments = parser(__doc__)
    arguments.add_argument("--lanes", type=int, default=16)
    arguments.add_argument("--seconds", type=float, default=3_600.0)
    arguments.add_argument("--rate", type=int, default=96_000)
    arguments.add_argument("--seeks", type=int, default=40)
    arguments.add_argument("--formats", nargs="+", default=[".wav", ".flac"])
    given = arguments.parse_args()
    for suffix in given.formats:
        session = take(given.folder, given.lanes, given.seconds, given.rate, suffix)
        dice, times = random.Random(1), []
        with Player(measure_levels=False) as player:
            player.load(session)
            player.set_device(SILENT_CLOCK)
            player.play()
            until(lambda player=player: player.state().position > given.rate // 10)
            for _ in range(given.seeks):
                time.sleep(dice.uniform(0.3, 0.6))
                place = dice.randrange(round((given.seconds - 10) * given.rate))
                began = time.perf_counter()
                player.seek(place)
                # The jump is done in silence; the next block sounds.
                until(lambda player=player, place=place: place < player.state().position < place + given.rate)
                until(lambda player=player: bool(player.board[Field.SOUNDING]))
                times.append(1_000 * (time.perf_counter() - began))
            memory = psutil.Process(player.engine_pid).memory_info().rss / 2**20
            print(
                f"{suffix}: {given.lanes} lanes of {given.seconds:g} s at {given.rate} Hz, "
                f"{given.seeks} seeks: median {np.median(times):.0f} ms, "
                f"p95 {np.percentile(times, 95):.0f} ms, worst {max(times):.0f} ms; "
                f"engine {memory:.0f} MiB; starved {player.board[Field.STARVED]:.0f}; {load()}",
                flush=True,
            )


if __name__ == "__main__":
    main()
