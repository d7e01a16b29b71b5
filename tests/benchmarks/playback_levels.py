"""Level match over 50 passages, generated and real: pyloudnorm on what the mixer sends out."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping

import numpy as np
import pyloudnorm
import soundfile
from msgspec.structs import replace
from playback_common import load, parser
from tests.support.array_clips import ArrayClip, session_of
from tests.support.real_takes import ROOT

from lagline.blend.clips import open_clips
from lagline.blend.mix import ClipLike
from lagline.blend.passage import fade_frames
from lagline.playback.board import Board
from lagline.playback.feeder import Feeder, Material
from lagline.playback.levels import LevelMeter, LevelsWanted
from lagline.playback.mixer import Mixer
from lagline.playback.views import View, Wanted
from lagline.session.values import Lane, Move, Session, Source, Version
from lagline.units import db_to_gain

Passage = tuple[str, Session, Mapping[str, ClipLike], int, int]
MONITOR_DB = -24.0  # well below the limiter, whose work would be measured too; taken off again afterwards


def generated(count: int) -> Iterator[Passage]:
    """Lanes that share a source at different delays, so that shifting changes the loudness."""
    rng = np.random.default_rng(2)
    for number in range(count):
        frames, lanes = int(rng.integers(15_000, 480_000)), int(rng.integers(2, 9))
        spectrum = np.fft.rfft(rng.standard_normal(frames + 4_000))
        spectrum /= np.maximum(np.arange(len(spectrum)), 20.0) ** rng.uniform(0.2, 1.0)
        source = np.fft.irfft(spectrum)
        swell = 0.2 + np.abs(np.sin(np.arange(len(source)) / rng.uniform(3e3, 3e4)))
        source *= 0.1 / np.std(source) * swell
        clips, moves = {}, {}
        for n in range(lanes):
            late = int(rng.integers(0, 2_000))
            clips[f"l{n}"] = ArrayClip(source[2_000 - late : 2_000 - late + frames] * rng.choice([1, -1]))
            moves[f"l{n}"] = Move(-late + float(rng.uniform(-0.5, 0.5)), int(rng.choice([1, -1])))
        version = Version("v1", "Shifted", moves)
        yield f"generated {number + 1}", session_of(clips, version), clips, 0, frames


def real(count: int) -> Iterator[Passage]:
    """Passages of the real takes with shifts drawn at random."""
    rng = np.random.default_rng(3)
    folders = [folder for folder in sorted(ROOT.glob("*")) if len(list(folder.glob("*.flac"))) > 1]
    for number in range(count if folders else 0):
        folder = folders[number % len(folders)]
        lanes, moves = [], {}
        for n, path in enumerate(sorted(folder.glob("*.flac"))[:8]):
            info = soundfile.info(path)
            source = Source(path, 0, info.samplerate, info.frames, path.stat().st_size)
            lanes.append(Lane(f"l{n}", f"{path.stem} {n}", source))
            moves[f"l{n}"] = Move(float(rng.uniform(-500, 500)), int(rng.choice([1, -1])))
        session = Session(info.samplerate, tuple(lanes), versions=(Version("v1", "Shifted", moves),))
        length = session.span()[1]
        frames = min(length, int(rng.integers(info.samplerate // 4, 10 * info.samplerate)))
        start = int(rng.integers(0, length - frames + 1))
        yield folder.name, session, open_clips(session), start, start + frames


def sent(passage: Passage, version_id: str, gain: float) -> np.ndarray:
    """What the mixer sends out for the passage, without the volume: the gates of BS.1770 are absolute."""
    _, session, clips, start, stop = passage
    mixer = Mixer(session.rate_hz, Board())
    feeder = Feeder(mixer, lambda _: clips, print)
    feeder.show(Material(session, ("original", "v1")))
    feeder.jump(start)
    mixer.wanted = Wanted(
        playing=True,
        view=View(version_id),
        monitor_gain=db_to_gain(MONITOR_DB),
        match_gains={version_id: gain},
    )
    out = np.zeros((stop - start + mixer.delay_frames, 2), np.float32)
    last = stop - start - fade_frames(session.rate_hz)  # it ends as a loop does, faded out
    edges = [*range(0, last, 1_024), last, len(out)]
    for first, end in itertools.pairwise(edges):
        while feeder.work():
            pass
        if first == last:
            mixer.wanted = replace(mixer.wanted, playing=False)
        mixer.fill(out[first:end])
    return out[mixer.delay_frames :] / np.float32(db_to_gain(MONITOR_DB))


def heard_lufs(sound: np.ndarray, rate_hz: int) -> float:
    meter = pyloudnorm.Meter(rate_hz, filter_class="DeMan")
    return float(meter.integrated_loudness(sound.astype(np.float64)))


def main() -> None:
    arguments = parser(__doc__)
    arguments.add_argument("--passages", type=int, default=50)
    given = arguments.parse_args()
    there = list(real(given.passages // 2))
    worst, before, counted = 0.0, [], 0
    for passage in [*there, *generated(given.passages - len(there))]:
        name, session, clips, start, stop = passage
        if stop - start < 0.42 * session.rate_hz:
            stop = start + round(0.42 * session.rate_hz)  # pyloudnorm measures nothing shorter than 0.4 s
            passage = (name, session, clips, start, stop)
        request = LevelsWanted(1, replace(session, loop=(start, stop)))
        found = LevelMeter(lambda _, clips=clips: clips).measure(request, cancelled=lambda: False)
        levels = list(found.lufs.values())
        gains = [db_to_gain(db) for db in found.match_db.values()]
        after = [
            heard_lufs(sent(passage, key, gain), session.rate_hz)
            for key, gain in zip(("original", "v1"), gains, strict=True)
        ]
        if not np.isfinite([*levels, *after]).all():
            print(f"{name}: silent, left out")
            continue
        difference = abs(after[0] - after[1])
        before.append(abs(levels[0] - levels[1]))
        worst, counted = max(worst, difference), counted + 1
        print(
            f"{name:34} {(stop - start) / session.rate_hz:6.2f} s  "
            f"apart {before[-1]:5.2f} LU, matched {difference:.3f} LU"
        )
    print(
        f"{counted} passages, {len(there)} of real takes: up to {max(before):.2f} LU apart, "
        f"matched within {worst:.3f} LU as pyloudnorm measures it; {load()}"
    )


if __name__ == "__main__":
    main()
