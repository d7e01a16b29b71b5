"""The engine's memory over an hour of playback that runs as fast as it can."""

from __future__ import annotations

import time

import psutil
from playback_common import load, parser, take, until

from lagline.playback.player import Player
from lagline.playback.protocol import SILENT_CLOCK, Settings
from lagline.session import edits


def main() -> None:
    arguments = parser(__doc__)
    arguments.add_argument("--lanes", type=int, default=4)
    arguments.add_argument("--hours", type=float, default=1.0)
    given = arguments.parse_args()
    seconds = 600.0
    session = take(given.folder, given.lanes, seconds)
    began, played, readings = time.perf_counter(), 0.0, []
    with Player(Settings(patient=True, pace=False), measure_levels=False) as player:
        player.load(session)
        player.set_device(SILENT_CLOCK)
        turns = max(1, round(given.hours * 3_600 / seconds))
        for turn in range(turns):
            player.play()
            until(lambda: player.state().playing and player.state().position < 48_000 * 60, step_s=0.01)
            while player.state().playing:
                time.sleep(0.5)
                player.select("v1" if player.state().version_id == "original" else "original")
                player.load(edits.with_gain(session, "l0", -(time.monotonic() % 12)))
            played += seconds
            readings.append(psutil.Process(player.engine_pid).memory_info().rss / 2**20)
            print(
                f"{played / 60:4.0f} min played, engine {readings[-1]:.1f} MiB, {turn + 1} of {turns}",
                flush=True,
            )
    print(
        f"{given.lanes} lanes, {played / 3_600:.2f} h in {time.perf_counter() - began:.0f} s: "
        f"{readings[0]:.1f} MiB at first, {readings[-1]:.1f} MiB at last, "
        f"most {max(readings):.1f} MiB; {load()}"
    )


if __name__ == "__main__":
    main()
