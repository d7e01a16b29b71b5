"""Large takes: many long lanes, files over 4 GiB, a thousand takes in one batch.

    python tests/robustness/scale.py [--lanes 32] [--hours 2] [--rate 96000] [--takes 1000] [--skip STEP]...

The long recordings are sparse files where the system has them: 20 s of attacks at the start, in the middle
and at the end, and silence between. Each step runs in a process of its own; its time and its largest memory
are printed as a Markdown table. Needs some GB of disk for what is exported; everything is removed at the end.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ["QT_QPA_PLATFORM"] = "offscreen"
PASSAGE_S = 20.0  # of sound, at the start, in the middle and at the end
HEADER_BYTES = 80


def sparse_recording(
    path: Path, seconds: float, rate_hz: int, late: int, seed: int, channels: int = 1
) -> None:
    """A 24-bit WAV (RF64 above 4 GiB) with three passages of attacks, `late` samples later than lane 0's."""
    import struct

    frames = int(seconds * rate_hz)
    size = frames * channels * 3
    is_large = size + 100 > 0xFFFFFFFF
    ds64 = struct.pack("<QQQI", size + 72, size, frames, 0)
    form = struct.pack("<HHIIHH", 1, channels, rate_hz, rate_hz * channels * 3, channels * 3, 24)
    with path.open("wb") as file:
        file.write(
            struct.pack("<4sI4s", b"RF64" if is_large else b"RIFF", min(size + 72, 0xFFFFFFFF), b"WAVE")
        )
        file.write(struct.pack("<4sI", b"ds64" if is_large else b"JUNK", 28) + ds64)
        file.write(struct.pack("<4sI", b"fmt ", 16) + form)
        file.write(struct.pack("<4sI", b"data", min(size, 0xFFFFFFFF)))
        start = file.tell()
        passage = _passage(rate_hz, late, seed)
        for where in (0, frames // 2, frames - len(passage)):
            numbers = np.repeat(np.rint(passage * 2**23).astype("<i4"), channels)
            file.seek(start + where * channels * 3)
            file.write(numbers.view(np.uint8).reshape(-1, 4)[:, :3].tobytes())
        file.truncate(start + size)


def _passage(rate_hz: int, late: int, seed: int) -> np.ndarray:
    common, own = np.random.default_rng(1), np.random.default_rng(100 + seed)
    frames = int(PASSAGE_S * rate_hz)
    source = common.standard_normal(frames) * np.exp(-(np.arange(frames) % (rate_hz // 2)) / (0.03 * rate_hz))
    return 0.2 * np.concatenate([np.zeros(late), source[: frames - late]]) + 1e-4 * own.standard_normal(
        frames
    )


# the steps; each gets the folder of the long take or the batch


def opens(take: Path) -> str:
    from lagline.jobs.open_take import open_take
    from lagline.session.storage import save

    session = open_take([take]).session
    save(session, take.parent / "take.lagline")
    lane = session.lanes[0]
    return f"{len(session.lanes)} lanes of {lane.source.frames / lane.source.rate_hz / 3600:.2f} h"


def builds_overviews(take: Path) -> str:
    from lagline.media.overview import build_all

    built = build_all(sorted(take.iterdir()))
    size = sum(path.stat().st_size for path in Path(os.environ["LAGLINE_CACHE_DIR"]).iterdir())
    return f"{len(built)} overviews, {size / 1e6:.0f} MB of cache"


def draws(take: Path) -> str:
    from lagline.desk.app import picture_of_desk

    picture_of_desk(take.parent / "take.lagline", take.parent / "desk.png", 1600, 1000)
    return "the whole desk, overviews from the cache"


def analyses(take: Path) -> str:
    from lagline.jobs.line_up import line_up
    from lagline.session.storage import load

    session = load(take.parent / "take.lagline")
    alignment = line_up(session)
    right = 0
    for number, lane in enumerate(session.lanes):
        finding = alignment.finding(lane.id)
        wanted = 40.0 * number - 40.0 * (len(session.lanes) - 1)
        right += bool(
            finding and finding.arrival_samples is not None and abs(finding.arrival_samples - wanted) < 1
        )
    return f"{right} of {len(session.lanes)} arrivals within a sample"


def plays(take: Path) -> str:
    """A minute of the rendering that playback does ahead of the playhead."""
    from lagline.blend.clips import open_clips
    from lagline.blend.mix import blend
    from lagline.session.storage import load

    session = load(take.parent / "take.lagline")
    clips = open_clips(session)
    frames, block = 60 * session.rate_hz, 4096
    middle = session.span()[1] // 2
    began = time.monotonic()
    for start in range(middle, middle + frames, block):
        blend(session, session.current_version, clips, start, block)
    return f"{60 / (time.monotonic() - began):.1f} times as fast as it plays"


def exports(take: Path) -> str:
    from lagline.blend.clips import open_clips
    from lagline.deliver.blends import write_blend
    from lagline.deliver.options import DeliveryOptions
    from lagline.session.storage import load

    session = load(take.parent / "take.lagline")
    path = take.parent / "blend.wav"
    options = DeliveryOptions(measure_loudness=False)
    write_blend(session, session.current_version, open_clips(session), path, options)
    size = path.stat().st_size
    path.unlink()
    return f"the blend, {size / 1e9:.1f} GB"


def large_file(take: Path) -> str:
    """One file over 4 GiB in and out, sample for sample."""
    from lagline.media.clip import Clip
    from lagline.media.probe import probe
    from lagline.media.write import write_audio

    path = take.parent / "large.wav"
    sparse_recording(path, 4.2 * 2**30 / 3 / 96_000 / 2, 96_000, 0, 0, channels=2)
    info = probe(path)
    clip, other = Clip(path, 0), Clip(path, 1)
    block = 1 << 16

    def blocks():  # type: ignore[no-untyped-def]
        for start in range(0, info.frames, block):
            stop = min(start + block, info.frames)
            yield np.stack([clip.read(start, stop), other.read(start, stop)], axis=1)

    out = take.parent / "large-out.wav"
    write_audio(out, blocks(), info.rate_hz, 2, "PCM_24", frames=info.frames)
    copy = Clip(out, 1)
    for start in (0, info.frames // 2, info.frames - block):
        assert np.array_equal(copy.read(start, start + block), other.read(start, start + block))
    sizes = path.stat().st_size, out.stat().st_size, probe(out).format
    path.unlink()
    out.unlink()
    return f"{sizes[0] / 2**30:.2f} GiB in, {sizes[1] / 2**30:.2f} GiB {sizes[2]} out, samples equal"


def batch(folder: Path) -> str:
    from lagline.jobs.batch import BatchOptions, run_batch
    from lagline.jobs.find_takes import find_takes

    takes = find_takes(folder).takes
    results = run_batch(
        takes, folder.parent / "results", BatchOptions(), workers=os.cpu_count() or 1, progress=lambda _: None
    )
    done = sum(result.state == "done" for result in results)
    again = time.monotonic()
    run_batch(takes, folder.parent / "results", BatchOptions(), workers=1, progress=lambda _: None)
    return (
        f"{done} of {len(takes)} takes done; going on with a finished batch {time.monotonic() - again:.1f} s"
    )


def many_takes(folder: Path, count: int) -> None:
    from tests.support.click_take import write_click_take

    first = folder / "take 0000"
    write_click_take(first, {"near": 0, "room": 96})
    for number in range(1, count):
        shutil.copytree(first, folder / f"take {number:04d}")


# measuring


def _measured(step: Callable[[Path], str], folder: Path, pipe: object) -> None:
    began = time.monotonic()
    said = step(folder)
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    children = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    pipe.send((said, time.monotonic() - began, own, children))  # type: ignore[attr-defined]


def row(name: str, step: Callable[[Path], str], folder: Path) -> None:
    """Run a step in a fresh process and print its line."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_measured, args=(step, folder, theirs))
    process.start()
    theirs.close()
    try:
        said, seconds, own, children = ours.recv()
    except EOFError:
        print(f"| {name} | it ended with an error | | | |", flush=True)
        return
    finally:
        process.join()
    print(f"| {name} | {said} | {seconds:.1f} | {own:.0f} | {children:.0f} |", flush=True)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--lanes", type=int, default=32)
    parser.add_argument("--hours", type=float, default=2.0)
    parser.add_argument("--rate", type=int, default=96_000)
    parser.add_argument("--takes", type=int, default=1_000)
    parser.add_argument("--skip", action="append", default=[])
    parser.add_argument(
        "--folder", type=Path, help="where there is room; the system's temporary folder by default"
    )
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="lagline-scale-", dir=asked.folder) as name:
        folder = Path(name)
        os.environ["LAGLINE_CACHE_DIR"] = str(folder / "cache")
        take = folder / "take"
        take.mkdir()
        for number in range(asked.lanes):
            path = take / f"lane {number + 1:02d}.wav"
            sparse_recording(path, 3600 * asked.hours, asked.rate, 40 * number, number)
        print(f"{asked.lanes} lanes of {asked.hours:g} h at {asked.rate} Hz; {asked.takes} takes.\n")
        print("| step | what | s | MB at most | MB of helpers at most |")
        print("|---|---|---|---|---|")
        steps = (opens, builds_overviews, draws, plays, analyses, exports, large_file)
        for step in steps:
            if step.__name__ not in asked.skip:
                row(step.__name__.replace("_", " "), step, take)
        shutil.rmtree(take)
        if "batch" not in asked.skip:
            many_takes(folder / "takes", asked.takes)
            row("batch", batch, folder / "takes")
    return 0


if __name__ == "__main__":
    sys.exit(main())
