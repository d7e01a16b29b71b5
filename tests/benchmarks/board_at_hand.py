"""Print what it costs to have every cell of a board at hand, against the bars of a callback."""

from __future__ import annotations

import pickle
import resource
import time
import tracemalloc

import numpy as np
from playback_common import parser
from tests.support.array_clips import noise_clips, session_of

from lagline.blend.loudness_match import compared_powers
from lagline.blend.passage import compared_versions
from lagline.combinations.cells import board_session, laid_out, parts_of
from lagline.playback.board import Board
from lagline.playback.feeder import Feeder, Material
from lagline.playback.guard import NO_LIMIT
from lagline.playback.heard import every_version, what_is_heard
from lagline.playback.mixdown import Mixdown
from lagline.playback.mixer import Mixer
from lagline.playback.views import View, Wanted
from lagline.session.values import Move, Version

RATE_HZ = 48_000
BLOCK = 256


def main() -> None:
    """Print the figures."""
    options = parser(__doc__)
    options.add_argument("--lanes", type=int, default=8)
    options.add_argument("--seconds", type=float, default=60.0)
    arguments = options.parse_args()
    clips = noise_clips(arguments.lanes, round(arguments.seconds * RATE_HZ))
    shifts = {lane_id: Move(-37.3 * number) for number, lane_id in enumerate(clips)}
    session = session_of(clips, Version("v1", "Lined up", shifts))
    cells = laid_out(parts_of(session), ("original", "v1"), 255)
    board = what_is_heard(board_session(session, cells))
    material = Material(board, every_version(board), is_mixed=True)
    print(f"{arguments.lanes} lanes, {len(cells)} cells, {arguments.seconds:g} s")
    timed("to send", lambda: pickle.loads(pickle.dumps(material)))
    timed("to lay out how they are mixed", lambda: Mixdown(board, material.versions(), {}))
    timed("to measure all loudnesses", lambda: compared_powers(board, compared_versions(board), clips))
    tracemalloc.start()
    mixer = Mixer(RATE_HZ, Board())
    feeder = Feeder(mixer, lambda _: clips, print)
    feeder.show(material)
    while feeder.work():
        pass
    print(f"{tracemalloc.get_traced_memory()[0] / 1e6:8.1f} MB for what is rendered ahead")
    tracemalloc.stop()
    mixer.wanted = Wanted(playing=True, monitor_gain=1.0, most_rise_db=NO_LIMIT)
    out = np.zeros((BLOCK, 2), np.float32)
    callbacks: list[float] = []
    feeding = 0.0
    blocks = round(arguments.seconds / 2 * RATE_HZ / BLOCK)
    for number in range(blocks):
        if number % 40 == 0:
            cell = cells[(number * 211) % len(cells)]
            mixer.wanted = Wanted(playing=True, monitor_gain=1.0, view=View(cell.id), most_rise_db=NO_LIMIT)
        began = time.perf_counter()
        while feeder.work():
            pass
        fed = time.perf_counter()
        mixer.fill(out)
        callbacks.append(time.perf_counter() - fed)
        feeding += fed - began
    deadline = BLOCK / RATE_HZ
    for percent in (50, 99, 100):
        share = float(np.percentile(callbacks, percent)) / deadline
        print(f"{100 * share:8.1f} % of a block's time taken by a callback, {percent} of 100 take no more")
    print(f"{100 * feeding / (blocks * deadline):8.1f} % of real time to render ahead")
    print(f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000:8.1f} MB at most, everything together")


def timed(what: str, work: object) -> None:
    """Print how long a piece of work takes."""
    began = time.perf_counter()
    work()  # type: ignore[operator]
    print(f"{1000 * (time.perf_counter() - began):8.1f} ms {what}")


if __name__ == "__main__":
    main()
