"""Many takes delivered in every form, verified, measured by outside meters, then damaged: is it found?

    nice .venv/bin/python tests/benchmarks/certify_takes.py [--takes 200] [--forms 3] [--minutes 10]

Real takes lie beside the checkout (../shared/real-takes); generated ones have 16, 24 or 32 bits or floats,
recordings of one to eight channels, rates from 44.1 to 192 kHz, unknown chunks and stamps. Lanes are moved by
whole samples, by fractions, upside down, with drift. Each take is delivered in some of the forms, in turn.
Loudness is held against ffmpeg's `ebur128` and pyloudnorm, true peak against ffmpeg and scipy's resampling,
to a tenth. Then one sample, one stamp and one text are damaged, each in a copy of its own, and the very file
must be named; sample and stamp once more with the list's checksum set right, so that only what is in the file
can tell.

Ends with 1 when anything was not as it must be.
"""

from __future__ import annotations

import argparse
import json
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyloudnorm
import soundfile
from msgspec.structs import replace
from scipy.signal import resample_poly

from lagline.deliver.delivered import DeliveredFile
from lagline.deliver.options import DeliveryOptions
from lagline.errors import LaglineError
from lagline.jobs.hand_over import hand_over_take
from lagline.jobs.open_take import open_take
from lagline.jobs.verify import verify_delivery
from lagline.media.bext import Bext, pack_bext
from lagline.media.riff import Chunk
from lagline.media.write import sha256_of, write_audio
from lagline.session.values import Move, Session, Version

REAL = Path(__file__).parents[2].parent / "shared" / "real-takes"
RATES_HZ = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
WITHIN = 0.1  # dB and LU
FFMPEG_STEP = 0.001  # it tells peaks with three decimals
LONGEST_S, MOST_FILES = 4.0, 5  # of a real take, so that they are many
FORMS: tuple[dict[str, Any], ...] = (
    {},
    {"layout": "recorded"},
    {"layout": "take"},
    {"file_format": "FLAC"},
    {"file_format": "FLAC", "layout": "recorded"},
    {"depth": "16"},
    {"depth": "24", "layout": "take"},
    {"depth": "float", "layout": "recorded"},
    {"whole_samples": True},
    {"rate_hz": 48_000},
    {"rate_hz": 44_100, "layout": "take", "file_format": "FLAC"},
    {"rate_hz": 96_000, "depth": "float"},
)


def generated(folder: Path, seed: int) -> None:
    """Recordings of a take that never was: strokes in noise, with what recorders write beside them."""
    draw, rng = random.Random(seed), np.random.default_rng(seed)
    rate_hz, subtype = draw.choice(RATES_HZ), draw.choice(("PCM_16", "PCM_24", "PCM_32", "FLOAT"))
    sizes = draw.choice(((1, 1), (1, 1, 2), (2, 2), (1, 8), (6,), (3, 1), (4, 4), (5, 2, 1), (7,), (8,)))
    folder.mkdir(parents=True)
    for number, channels in enumerate(sizes):
        frames = int(rate_hz * draw.uniform(3.0, 4.0))
        sound = 0.003 * falling(rng, frames, rate_hz)[:, None] * np.ones(channels)
        for at in rng.integers(0, frames - rate_hz // 2, 6):
            decay = np.exp(-np.arange(rate_hz // 2) / draw.uniform(0.01, 0.1) / rate_hz)
            sound[at : at + len(decay)] += (decay * falling(rng, len(decay), rate_hz))[:, None]
        sound *= draw.uniform(0.2, 0.9) / np.abs(sound).max()
        path = folder / f"Track {number + 1}.wav"
        if subtype == "PCM_32":
            soundfile.write(path, sound, rate_hz, subtype)
            continue
        stamp = 3_600 * rate_hz + draw.randrange(1_000)
        bext = Bext(description=f"Täke {seed}", originator="Recorder", time_reference=stamp)
        chunks = [Chunk(b"bext", pack_bext(bext)), Chunk(b"xyzw", rng.bytes(draw.randrange(1, 99)))]
        samples = sound.astype(np.float32)
        write_audio(path, [samples], rate_hz, channels, subtype, frames=frames, chunks=chunks)


def falling(rng: np.random.Generator, frames: int, rate_hz: int) -> np.ndarray:
    """Noise that falls by 12 dB an octave from 4 kHz on, as sounds do. On noise that is white up to half the
    rate meters of any make differ by a dB: between samples most read less than is there.
    """
    spectrum = np.fft.rfft(rng.standard_normal(frames))
    spectrum /= 1.0 + (np.fft.rfftfreq(frames, 1.0 / rate_hz) / 4_000.0) ** 2
    noise: np.ndarray = np.fft.irfft(spectrum, frames)
    return noise / noise.std()


def takes(real: int, count: int, folder: Path) -> Iterator[tuple[str, Path]]:
    """Real ones first, cut to LONGEST_S, then generated ones."""
    for place in sorted(REAL.iterdir())[:real] if REAL.is_dir() else ():
        files = [file for file in sorted(place.rglob("*")) if file.suffix in (".wav", ".flac")]
        if len(files) > 1:
            target = folder / place.name
            target.mkdir()
            for file in files[:MOST_FILES]:
                with soundfile.SoundFile(file) as sound:
                    samples = sound.read(int(LONGEST_S * sound.samplerate), dtype="int32", always_2d=True)
                    name = target / f"{file.parent.name} {file.stem}{file.suffix}"
                    soundfile.write(name, samples, sound.samplerate, sound.subtype)
            yield f"real: {place.name}", target
    for seed in range(count):
        generated(folder / f"made {seed}", seed)
        yield f"made: {seed}", folder / f"made {seed}"


def decided(folder: Path, seed: int) -> Session:
    draw = random.Random(seed)
    take = open_take([folder]).session
    moves = {}
    for lane in take.lanes:
        shift = draw.choice((float(draw.randrange(-300, 300)), draw.uniform(-300, 300), 0.0))
        drift = draw.choice((0.0, 0.0, 0.0, draw.uniform(-30, 30)))
        moves[lane.id] = Move(shift, draw.choice((1, 1, -1)), drift)
    return replace(take, versions=(Version("v1", "Shifted", moves),))


def by_ffmpeg(path: Path) -> tuple[float, float]:
    """Integrated loudness and highest true peak. It tells ten times a second, and nothing of what comes after
    the last time: for the peak silence is added, which would change the loudness.
    """
    loudness = re.findall(r"lavfi\.r128\.I=(\S+)", ffmpeg(path, "ebur128=metadata=1"))
    told = ffmpeg(path, "apad=pad_dur=0.3,ebur128=peak=true:metadata=1")
    peaks = re.findall(r"lavfi\.r128\.true_peaks_ch\d+=(\S+)", told)
    highest = max(map(float, peaks), default=0.0)
    return float(loudness[-1]) if loudness else -70.0, 20 * np.log10(max(highest, 1e-9))


def ffmpeg(path: Path, graph: str) -> str:
    quiet = ["-hide_banner", "-nostats", "-loglevel", "error"]
    command = ["ffmpeg", *quiet, "-i", str(path), "-af", f"{graph},ametadata=print:file=-", "-f", "null", "-"]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


def by_libraries(path: Path, wants_loudness: bool) -> tuple[float, float]:
    samples, rate_hz = soundfile.read(path, dtype="float64", always_2d=True)
    highest = max(float(np.abs(resample_poly(channel, 8, 1)).max()) for channel in samples.T)
    loudness = pyloudnorm.Meter(rate_hz).integrated_loudness(samples) if wants_loudness else -70.0
    return float(loudness), 20 * np.log10(max(highest, 1e-9))


class Count:
    """What was done, and what was not as it must be."""

    def __init__(self) -> None:
        self.done: Counter[str] = Counter()
        self.wrong: list[str] = []
        self.farthest = {"loudness": 0.0, "true peak": 0.0}

    def hold(self, what: str, is_right: bool, where: str) -> None:
        self.done[what] += 1
        if not is_right:
            self.wrong.append(f"{what}: {where}")
            print("WRONG", self.wrong[-1], flush=True)

    def level(self, what: str, ours: float, theirs: float, where: str) -> None:
        self.farthest[what] = max(self.farthest[what], abs(ours - theirs))
        self.hold(
            f"{what} within {WITHIN}", abs(ours - theirs) <= WITHIN, f"{where}: {ours:.3f}, {theirs:.3f}"
        )


def measured(file: DeliveredFile, path: Path, count: Count, where: str) -> None:
    """A file against two outside meters."""
    if file.true_peak_dbtp is None or file.true_peak_dbtp < -60.0:
        return
    has_loudness = file.loudness_lufs is not None and file.loudness_lufs > -60.0
    for meter, (loudness, peak) in (
        ("ffmpeg", by_ffmpeg(path)),
        ("libraries", by_libraries(path, has_loudness)),
    ):
        ours = file.true_peak_dbtp
        if meter == "ffmpeg" and abs(10 ** (ours / 20) - 10 ** (peak / 20)) <= FFMPEG_STEP / 2:
            peak = ours  # as near as it tells
        count.level("true peak", ours, peak, f"{where} by {meter}")
        if has_loudness:
            count.level("loudness", file.loudness_lufs or 0.0, loudness, f"{where} by {meter}")


def one_sample(path: Path) -> None:
    """The lowest bit of the loudest sample of the first channel."""
    with soundfile.SoundFile(path) as sound:
        subtype, rate_hz, kind = sound.subtype, sound.samplerate, sound.format
        samples = sound.read(dtype="int32", always_2d=True) if subtype != "FLOAT" else None
    if samples is None or path.suffix == ".wav":
        data = bytearray(path.read_bytes())
        data[-len(data) // 3] ^= 1
        path.write_bytes(data)
        return
    loudest = int(np.abs(samples[:, 0].astype(np.int64)).argmax())
    samples[loudest, 0] ^= 1 << (16 if subtype == "PCM_16" else 8)
    soundfile.write(path, samples, rate_hz, subtype, format=kind)


def one_stamp(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[data.index(b"bext") + 8 + 338] ^= 1
    path.write_bytes(data)


def one_text(path: Path) -> None:
    text = path.read_text("utf-8")
    at = next(place for place in range(len(text) // 2, len(text)) if text[place].isdigit())
    path.write_text(text[:at] + str((int(text[at]) + 1) % 10) + text[at + 1 :], "utf-8")


def damaged(
    delivery: Path,
    recordings: Path,
    file: Path,
    damage: Callable[[Path], None],
    hides: bool,
    count: Count,
    where: str,
) -> None:
    """Damage one file in a copy; `hides` : with the list's checksum set right."""
    copy = delivery.with_name("copy")
    shutil.copytree(delivery, copy)
    target = copy / file
    damage(target)
    if hides:
        manifest = target.with_name("delivery.json")
        document = json.loads(manifest.read_text("utf-8"))
        for one in document["files"]:
            if one["name"] == target.name:
                one["sha256"] = sha256_of(target)
        manifest.write_text(json.dumps(document), "utf-8")
    named = [one.path for one in verify_delivery(copy, [recordings]) if one.problems]
    hidden = ", its checksum set right" if hides else ""
    count.hold(
        f"{damage.__name__.replace('_', ' ')} damaged{hidden}: found", named == [target], f"{where}, {file}"
    )
    shutil.rmtree(copy)


def delivered(name: str, recordings: Path, form: dict[str, Any], seed: int, count: Count) -> None:
    session = decided(recordings, seed)
    where = f"{name}, {form or 'as it is'}"
    out = recordings.with_name("out")
    edit = ("none", "linked", "bundle")[seed % 3]
    try:
        hand_over_take(session, out, "v1", DeliveryOptions(**form), edit=edit)  # type: ignore[arg-type]
    except LaglineError as error:
        count.hold("delivered", False, f"{where}: {error}")
        return
    count.hold("delivered", True, where)
    found = verify_delivery(out, [recordings])
    for one in found:
        count.hold("file as delivered", not one.problems, f"{where}: {one.path.name}: {one.problems}")
        if one.file.kind in ("lane", "blend"):
            count.hold("no clipped sample", one.file.clipped_samples == 0, f"{where}: {one.path.name}")
            measured(one.file, one.path, count, f"{where}: {one.path.name}")
        for lane in one.file.held:
            count.hold("lane held against its recording", bool(one.compared), f"{where}: {lane.lane}")
    lane = next(one for one in found if one.file.kind == "lane").path.relative_to(out)
    sheet = next(path for path in out.iterdir() if path.name.endswith(".txt")).relative_to(out)
    for file, damage, hides in (
        (lane, one_sample, False), (lane, one_stamp, False), (sheet, one_text, False),
        (lane, one_stamp, True), (lane, one_sample, True),
    ):  # fmt: skip
        entry = next(one.file for one in found if one.path == out / file)
        if damage is one_sample and hides and not all(held.copied for held in entry.held):
            continue  # one bit of a lane that is interpolated lies below its dither: only the checksum tells
        damaged(out, recordings, file, damage, hides, count, where)
    shutil.rmtree(out)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--real", type=int, default=100, help="real ones, at most")
    parser.add_argument("--takes", type=int, default=200, help="generated ones")
    parser.add_argument("--forms", type=int, default=3, help=f"of {len(FORMS)}, for each take")
    parser.add_argument("--minutes", type=float, default=10.0, help="no take is begun after them")
    asked = parser.parse_args()
    count, begun, kinds = Count(), time.monotonic(), Counter[str]()
    turn = 0
    with tempfile.TemporaryDirectory() as made:
        for number, (name, recordings) in enumerate(takes(asked.real, asked.takes, Path(made))):
            if time.monotonic() - begun > 60 * asked.minutes:
                break
            kinds[name.partition(":")[0]] += 1
            for _ in range(asked.forms):
                form = FORMS[turn % len(FORMS)]
                turn += 1
                lanes = len(open_take([recordings]).session.lanes)
                if form.get("file_format") == "FLAC" and form.get("layout") == "take" and lanes > 8:
                    form = {"layout": "take"}
                delivered(name, recordings, form, number, count)
            shutil.rmtree(recordings)
    print(f"\n{kinds['real']} real takes and {kinds['made']} generated ones, {turn} deliveries\n")
    print("| what | held | wrong |\n|---|---|---|")
    for what, times in sorted(count.done.items()):
        print(f"| {what} | {times} | {sum(one.startswith(f'{what}: ') for one in count.wrong)} |")
    for what, farthest in count.farthest.items():
        print(f"| largest difference in {what} | {farthest:.3f} | |")
    return 1 if count.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
