"""A take with its truth, how it is finished like a recording, and how it is written down."""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy import fft, signal
from tests.material.sounds import Rng, Samples, pink
from tests.material.space import Microphone, Source, lag

AUDIBLE_DB = 30.0
FITTING = range(1, 1000)
REPORTING = range(5000, 5100)  # opened once, by the reporting run at the end


@dataclass(frozen=True)
class Lane:
    """One recording and the truth about it, against lane 0 of its take; lags in frames, positive = later."""

    name: str
    samples: Samples
    offset: float | None = 0.0  # None where nothing is shared with the anchor
    polarity: int | None = 1  # None where ambiguous by nature
    match: bool = True
    accept: tuple[float, float] | None = None
    alternatives: tuple[float, ...] = ()
    drift_ppm: float | None = None
    own: str | None = None  # the instrument a spot microphone was put up for
    subtype: str = "PCM_24"


@dataclass(frozen=True)
class Span:
    """One source's lag in one lane, and the lags that are right."""

    lag: float
    low: float
    high: float


@dataclass(frozen=True)
class Take:
    family: str
    variant: str
    seed: int
    fs: int
    lanes: tuple[Lane, ...]  # the anchor first
    sources: Mapping[str, Mapping[str, Span]] = field(default_factory=dict)  # instrument: {lane: lags}

    @property
    def id(self) -> str:
        return f"{self.family}-{self.variant}-{self.seed:04d}"

    @property
    def difficulty(self) -> int:
        return difficulty(self.seed)

    def truth(self) -> dict[str, Any]:
        """This take's entry in truth.json."""
        lanes = []
        for k, lane in enumerate(self.lanes):
            row: dict[str, Any] = {
                "file": f"{self.id}/{k:02d}_{lane.name}.wav",
                "name": f"{k:02d}_{lane.name}",
                "n": int(lane.samples.size),
                "match": lane.match,
                "offset_samples": lane.offset if lane.match else None,
                "polarity": lane.polarity if lane.match else None,
            }
            if lane.accept is not None and lane.match:
                row["accept"] = list(lane.accept)
            if lane.alternatives and lane.match:
                row["alternatives"] = list(lane.alternatives)
            if lane.drift_ppm is not None:
                row["drift_ppm"] = lane.drift_ppm
            if lane.own is not None:
                row["own"] = lane.own
            lanes.append(row)
        names = {lane.name: row["name"] for lane, row in zip(self.lanes, lanes, strict=True)}
        return {
            "id": self.id,
            "family": self.family,
            "sub": self.variant,
            "variant": self.variant,
            "difficulty": self.difficulty,
            "seed": self.seed,
            "fs": self.fs,
            "anchor": 0,
            "lanes": lanes,
            "sources": {s: {names[n]: v.lag for n, v in row.items()} for s, row in self.sources.items()},
            "source_accept": {
                s: {names[n]: [v.low, v.high] for n, v in row.items()} for s, row in self.sources.items()
            },
        }

    def write(self, folder: Path) -> dict[str, Any]:
        """Write the lanes under `folder`/<id>; return the truth."""
        truth = self.truth()
        (folder / self.id).mkdir(parents=True, exist_ok=True)
        for lane, row in zip(self.lanes, truth["lanes"], strict=True):
            soundfile.write(folder / row["file"], lane.samples, self.fs, subtype=lane.subtype)
        return truth


Practice = Callable[[Rng, int, int], tuple[Sequence[Lane], Mapping[str, Mapping[str, Span]]]]

_PRACTICES: dict[tuple[str, str], Practice] = {}


def practice(family: str, *variants: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Enter a maker of takes under `family`; with several variants it is given the variant's name."""

    def enter(maker: Callable[..., Any]) -> Callable[..., Any]:
        for variant in variants:
            _PRACTICES[family, variant] = lambda rng, fs, level, v=variant: maker(rng, fs, level, v)
        return maker

    return enter


def kinds() -> list[tuple[str, str]]:
    """Every (family, variant)."""
    from tests.material import families  # noqa: F401  (enters the makers)

    return list(_PRACTICES)


def difficulty(seed: int) -> int:
    """1 clean, 2 as recorded, 3 hard."""
    return 1 + seed % 3


def make(family: str, variant: str, seed: int) -> Take:
    """The take of one family, variant and seed: the same on every machine."""
    kinds()
    rng = np.random.default_rng([seed, zlib.crc32(f"{family}/{variant}".encode())])
    fs = int(rng.choice([44100, 48000]))
    lanes, sources = _PRACTICES[family, variant](rng, fs, difficulty(seed))
    return Take(family, variant, seed, fs, tuple(lanes), sources)


def write_truth(folder: Path, cases: Sequence[dict[str, Any]]) -> None:
    (folder / "truth.json").write_text(json.dumps({"cases": list(cases)}, indent=1))


# ---- from a scene to lanes ----------------------------------------------------------------------


def loud(x: Samples, fs: int) -> float:
    """Rms of the loudest fifth of 20 ms stretches."""
    k = int(0.02 * fs)
    m = max(1, x.size // k)
    power = np.mean(np.resize(x, m * k).reshape(m, k) ** 2, axis=1)
    return float(np.sqrt(np.mean(np.sort(power)[-max(1, m // 5) :]) + 1e-30))


def with_noise(
    rng: Rng, lanes: NDArray[np.float64], fs: int, snr_db: float, shared: float = 0.3
) -> NDArray[np.float64]:
    """Each lane with its own hiss and a rumble `shared` among all, `snr_db` under its loud parts."""
    frames = lanes.shape[1]
    rumble = pink(rng, frames, fs, 30, 2.0)
    out = []
    for lane in lanes:
        own = 0.6 * rng.standard_normal(frames) + pink(rng, frames, fs)
        noise = own / np.std(own) + shared * rumble
        out.append(lane + noise * loud(lane, fs) * 10 ** (-snr_db / 20))
    return np.stack(out)


def finished(rng: Rng, lanes: Sequence[Lane], spread_db: float = 6.0) -> list[Lane]:
    """Lanes at recording levels: peaks some dB apart, none clipped."""
    out = []
    for lane in lanes:
        peak = 10 ** (-(3 + rng.uniform(0, spread_db)) / 20)
        out.append(replace(lane, samples=lane.samples * peak / (np.max(np.abs(lane.samples)) + 1e-12)))
    return out


def one_source(
    rng: Rng,
    heard: NDArray[np.float64],
    place: tuple[float, float, float],
    mics: Sequence[Microphone],
    fs: int,
    **truth: Any,
) -> list[Lane]:
    """Lanes of one compact source: exact lags against the first microphone."""
    first = lag(place, mics[0], fs)
    return finished(
        rng,
        [
            Lane(m.name, x, lag(place, m, fs) - first, m.polarity * mics[0].polarity, **truth)
            for m, x in zip(mics, heard, strict=True)
        ],
    )


def several_sources(
    rng: Rng,
    heard: NDArray[np.float64],
    sources: Sequence[Source],
    mics: Sequence[Microphone],
    own: Mapping[str, str],
    fs: int,
    loudest: Sequence[str],
    levels: NDArray[np.float64],
    wide: Mapping[str, float] | None = None,
) -> tuple[list[Lane], dict[str, dict[str, Span]]]:
    """Lanes of several sources against the first microphone, and each source's lag in each lane.

    A spot's truth is its own instrument's lag (`own`: microphone -> source); for the others it is that of
    the first of `loudest`, every further source's being an alternative. `levels` in dB, shape (sources,
    microphones): a source more than `AUDIBLE_DB` under the loudest of a lane is not asked about there.
    `wide` : frames of margin, in place of 1, of sources that are large.
    """
    margin = wide or {}
    lags = {s.name: {m.name: lag(s.place, m, fs) - lag(s.place, mics[0], fs) for m in mics} for s in sources}
    lanes = []
    for mic, x in zip(mics, heard, strict=True):
        name = own.get(mic.name, loudest[0])
        others = () if mic.name in own else tuple(lags[s][mic.name] for s in loudest[1:])
        at = lags[name][mic.name]
        lanes.append(
            Lane(
                mic.name,
                x,
                at,
                mic.polarity * mics[0].polarity,
                alternatives=others,
                own=own.get(mic.name),
                accept=None if name not in margin else (at - margin[name], at + margin[name]),
            )
        )
    spans: dict[str, dict[str, Span]] = {}
    for s, level in zip(sources, levels, strict=True):
        clear = level > levels.max(axis=0) - AUDIBLE_DB
        row = {m.name: lags[s.name][m.name] for m, ok in zip(mics, clear, strict=True) if ok}
        m = margin.get(s.name, 1.0)
        spans[s.name] = {name: Span(v, v - m, v + m) for name, v in row.items()}
    return finished(rng, lanes), spans


# ---- what a response of its own does to the truth -----------------------------------------------


def body(
    rng: Rng, fs: int, peaks: int, lo: float, hi: float, ceiling: float | None, depth_db: float = 12.0
) -> Samples:
    """A body, pickup or cabinet: minimum-phase FIR, resonances from `lo` to `hi` Hz, cut at `ceiling`."""
    size = 4096
    f = np.fft.rfftfreq(size, 1 / fs)
    gain = np.zeros(f.size)
    for _ in range(peaks):
        centre = lo * (hi / lo) ** rng.uniform(0, 1)
        width = centre / rng.uniform(2, 12)
        gain += rng.uniform(-0.6, 1) * depth_db / (1 + ((f - centre) / width) ** 2)
    gain -= 10 * np.log10(1 + (lo * 0.6 / np.maximum(f, 1)) ** 4)
    if ceiling:
        gain -= 10 * np.log10(1 + (f / ceiling) ** 8)
    gain = np.maximum(gain, -70)
    cepstrum = np.fft.irfft(gain / 20 * np.log(10), size)
    cepstrum[1 : size // 2] *= 2
    cepstrum[size // 2 + 1 :] = 0
    h = np.fft.irfft(np.exp(np.fft.rfft(cepstrum)), size)[:2048]
    return h / np.max(np.abs(h))


def through(x: Samples, h: Samples) -> Samples:
    return signal.fftconvolve(x, h)[: x.size]


def peak_of(h: Samples, fs: int) -> float:
    """Frames from the start of a response to its highest point, at most 1 ms."""
    return float(np.argmax(np.abs(h[: int(0.001 * fs) + 1])))


def place_of(path: float, anchor: Samples, lane: Samples, fs: int) -> tuple[float, float]:
    """Lags to accept where anchor and lane came through responses of their own.

    From the first sound (the path) to the highest point of either response, two frames of margin.
    """
    return path - peak_of(anchor, fs) - 2, path + peak_of(lane, fs) + 2


def polarity_between(anchor: Samples, lane: Samples, sound: Samples, span: tuple[float, float]) -> int | None:
    """Sign both responses share in the band of `sound` within `span` frames of lag; None where unclear."""
    size = 8192
    shape = np.abs(fft.rfft(sound[: fft.next_fast_len(sound.size)], fft.next_fast_len(max(sound.size, size))))
    grid = np.interp(np.linspace(0, 1, size // 2 + 1), np.linspace(0, 1, shape.size), shape)
    cross = fft.irfft(np.conj(fft.rfft(anchor, size)) * fft.rfft(lane, size) * grid**2, size)
    lags = np.arange(int(np.floor(span[0])), int(np.ceil(span[1])) + 1)
    part = cross[lags]
    up, down = max(part.max(), 0.0), max(-part.min(), 0.0)
    if max(up, down) < 1.5 * min(up, down) or max(up, down) < 0.5 * np.max(np.abs(cross)):
        return None
    return 1 if up > down else -1
