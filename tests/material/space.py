"""Where sources and microphones stand, and what each microphone then hears.

Metres, seconds, frames at `fs` Hz. A path of d metres takes d / 343.2 s at 20 degrees C (ISO 9613-1); that
path alone, with a microphone's stated latency, is the truth of the material. Rooms are image sources up to a
low order (Allen and Berkley, JASA 65, 1979) with a diffuse tail of the level Sabine's law gives.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal
from tests.material.sounds import Rng, Samples

SPEED = 343.2
LEAD = 80  # frames before every response, room for the sinc's first half; alike in all lanes
KAISER = 10.0
Gain = Callable[[Samples], tuple[Samples, Samples]]
REAR = 0.12  # what a directional microphone still hears from behind: common practice, no source


@dataclass(frozen=True)
class Microphone:
    """`pattern` 0 hears all round, 0.5 is a cardioid; `aim` points where it looks."""

    name: str
    place: tuple[float, float, float]
    aim: tuple[float, float, float] = (0.0, 0.0, -1.0)
    pattern: float = 0.0
    polarity: int = 1
    latency: float = 0.0  # frames
    sheltered: float = 1.0  # gain of early reflections, which a drum under the microphone keeps off
    sos: NDArray[np.float64] | None = None  # its own response, minimum phase


@dataclass(frozen=True)
class Source:
    """`signal` is (frames,), or (4, frames): all round, then dipoles along x, y and z."""

    name: str
    place: tuple[float, float, float]
    signal: Samples
    shadow: dict[str, tuple[float, float]] = field(default_factory=dict)  # microphone: (gain, dull above Hz)


@dataclass(frozen=True)
class Room:
    """A shoebox from the origin; `rt60` in s. None in place of a room is a free field."""

    size: tuple[float, float, float]
    rt60: float
    order: int = 3


def lag(source: tuple[float, float, float], microphone: Microphone, fs: int) -> float:
    """Frames from leaving `source` to the file of `microphone`."""
    d = float(np.linalg.norm(np.subtract(source, microphone.place)))
    return d / SPEED * fs + microphone.latency


def scatter(h: Samples, times: Samples, gains: Samples, taps: int) -> None:
    """Add a band-limited pulse of each gain at each fractional time (frames)."""
    first = np.floor(times).astype(int) - taps // 2 + 1
    at = first[:, None] + np.arange(taps)
    d = at - times[:, None]
    window = np.i0(KAISER * np.sqrt(np.clip(1 - (d / (taps / 2)) ** 2, 0, 1))) / np.i0(KAISER)
    ok = (at >= 0) & (at < h.size)
    np.add.at(h, at[ok], (gains[:, None] * np.sinc(d) * window)[ok])


def _images(place: Samples, room: Room) -> tuple[Samples, NDArray[np.int64]]:
    """Mirror places and how many walls each met, without the source itself."""
    index = np.arange(-room.order, room.order + 1)
    grid = np.stack(np.meshgrid(index, index, index, indexing="ij"), -1).reshape(-1, 3)
    walls = np.abs(grid).sum(1)
    grid = grid[(walls > 0) & (walls <= room.order)]
    size = np.asarray(room.size)
    return grid * size + np.where(grid % 2, size - place, place), np.abs(grid).sum(1)


def response(rng: Rng, source: Source, mic: Microphone, room: Room | None, fs: int) -> Samples:
    """Impulse response from `source` to `mic`, `LEAD` frames late."""
    place, ear, aim = np.array(source.place), np.array(mic.place), np.array(mic.aim, float)
    aim /= np.linalg.norm(aim)

    def gain(points: Samples) -> tuple[Samples, Samples]:
        ray = points - ear
        d = np.linalg.norm(ray, axis=1)
        cos = (ray @ aim) / d
        facing = np.maximum((1 - mic.pattern) + mic.pattern * cos, REAR)
        return d, facing / np.maximum(d, 0.02)

    frames = int(fs * (0.03 if room is None else np.clip(0.75 * room.rt60, 0.12, 0.6)))
    d, g = gain(place[None, :])
    start = int(d[0] / SPEED * fs)
    h = np.zeros(LEAD + start + int(mic.latency) + frames)
    through, cut = source.shadow.get(mic.name, (1.0, 0.0))
    scatter(h, LEAD + mic.latency + d / SPEED * fs, g, 96)
    if room is not None:
        h += mic.sheltered * _early(place, gain, room, mic.latency, h.size, fs)
    if cut:  # half of it round the corner, half dulled: the first sound stays on its path
        h = through * (0.5 * h + 0.5 * signal.lfilter(*signal.butter(1, cut, fs=fs), h))
    if room is not None:
        h += _late(rng, room, mic.latency, start, h.size, fs)
    if mic.sos is not None:
        h = signal.sosfilt(mic.sos, h)
    return mic.polarity * h


def _surface(room: Room) -> tuple[float, float]:
    """Volume (cubic metres) and area of all walls (square metres)."""
    x, y, z = room.size
    return x * y * z, 2 * (x * y + y * z + x * z)


def _early(place: Samples, gain: Gain, room: Room, latency: float, frames: int, fs: int) -> Samples:
    """Image sources up to the room's order."""
    volume, area = _surface(room)
    absorbed = min(0.9, 1 - np.exp(-0.161 * volume / (area * room.rt60)))
    points, walls = _images(place, room)
    d, g = gain(points)
    h = np.zeros(frames)
    pole = 0.25
    for count in range(room.order, 0, -1):  # each wall dulls what it throws back
        these = walls == count
        scatter(h, LEAD + latency + d[these] / SPEED * fs, g[these] * (1 - absorbed) ** (count / 2), 16)
        h = signal.lfilter([1 - pole], [1, -pole], h)
    return h


def _late(rng: Rng, room: Room, latency: float, start: int, frames: int, fs: int) -> Samples:
    """The diffuse tail: it leaves 1 / reach^2 of energy in a whole decay from the first sound on."""
    volume, area = _surface(room)
    reach = 0.057 * np.sqrt(volume / room.rt60)  # metres: where direct and diffuse sound are alike
    begin = LEAD + int(latency) + max(start, int(room.order * volume / area * 4 / SPEED * fs))
    h = np.zeros(frames)
    if begin < frames - 16:
        t = np.arange(frames - begin) / fs
        level = np.sqrt(13.8 / (room.rt60 * fs)) / reach
        first = np.exp(-6.9 * (begin - LEAD - start - int(latency)) / fs / room.rt60)
        noise = rng.standard_normal((2, t.size))
        low = signal.lfilter(*signal.butter(1, 2500, fs=fs), noise[0])
        tail = low * np.exp(-6.9 * t / room.rt60) + 0.5 * noise[1] * np.exp(-6.9 * t / (0.5 * room.rt60))
        h[begin:] = level * first * tail * np.clip(t / 0.004, 0, 1)
    return h


def hear(
    rng: Rng, sources: Sequence[Source], mics: Sequence[Microphone], room: Room | None, fs: int
) -> NDArray[np.float64]:
    """What every microphone hears of all sources, shape (microphones, frames)."""
    return hear_apart(rng, sources, mics, room, fs)[0]


def hear_apart(
    rng: Rng, sources: Sequence[Source], mics: Sequence[Microphone], room: Room | None, fs: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The same, and about how loud each source's strongest moment is, dB, (sources, microphones)."""
    frames = max(s.signal.shape[-1] for s in sources)
    if room is not None:
        for thing in (*sources, *mics):
            if not all(0 < p < e for p, e in zip(thing.place, room.size, strict=True)):
                raise ValueError(f"{thing.name} stands outside the room: {thing.place} in {room.size}")
    lanes: list[NDArray[np.complex64]] = []
    responses = [[response(rng, s, m, room, fs).astype(np.float32) for m in mics] for s in sources]
    size = fft.next_fast_len(frames + max(h.size for row in responses for h in row), real=True)
    spectra = [fft.rfft(np.atleast_2d(s.signal).astype(np.float32), size) for s in sources]
    power = np.zeros((len(sources), len(mics)))
    for k, mic in enumerate(mics):
        total = np.zeros(size // 2 + 1, np.complex64)
        for s, (source, spectrum, row) in enumerate(zip(sources, spectra, responses, strict=True)):
            away = np.subtract(mic.place, source.place)
            away = away / (np.linalg.norm(away) + 1e-9)
            mixed = spectrum[0]
            for part, weight in zip(spectrum[1:], away, strict=False):
                mixed = mixed + np.float32(weight) * part
            here = mixed * fft.rfft(row[k], size)
            first = np.atleast_2d(source.signal)[0]
            crest = np.max(first**2) / (np.sum(first**2) + 1e-30)
            power[s, k] = np.sum(np.abs(here) ** 2) * crest
            total += here
        lanes.append(total)
    out = np.stack([fft.irfft(lane, size)[LEAD : LEAD + frames] for lane in lanes])
    return out.astype(np.float64), 10 * np.log10(power + 1e-30)


def delayed(x: Samples, frames: float) -> Samples:
    """`x` later by a fractional number of frames, same length."""
    h = np.zeros(2 * 64 + int(abs(frames)) + 2)
    scatter(h, np.array([64 + frames - np.floor(frames)]), np.array([1.0]), 96)
    y = signal.fftconvolve(x, h[:160])[64 : 64 + x.size]
    whole = int(np.floor(frames))
    out = np.zeros_like(x)
    if whole >= 0:
        out[whole:] = y[: x.size - whole] if whole else y
    else:
        out[:whole] = y[-whole:]
    return out


def warped(x: Samples, when: Samples) -> Samples:
    """`x` read at fractional frames `when`: band-limited, 32 taps (drift, moving sources)."""
    taps, steps = 32, 512
    fractions = np.arange(steps + 1) / steps
    d = np.arange(taps)[None, :] - (taps // 2 - 1) - fractions[:, None]
    window = np.i0(8.0 * np.sqrt(np.clip(1 - (d / (taps / 2)) ** 2, 0, 1))) / np.i0(8.0)
    table = (np.sinc(d) * window).astype(np.float32)
    padded = np.concatenate([np.zeros(taps), x, np.zeros(taps)]).astype(np.float32)
    whole = np.floor(when).astype(int)
    pick = np.round((when - whole) * steps).astype(int)
    out = np.zeros(when.size)
    for k in range(taps):
        at = np.clip(whole + taps - (taps // 2 - 1) + k, 0, padded.size - 1)
        out += padded[at] * table[pick, k]
    return out


def colour(rng: Rng, fs: int, *, low: float = 30.0, much: float = 3.0) -> NDArray[np.float64]:
    """A microphone's own response, sos: one pole of high-pass near `low` Hz and a broad bell of +-`much` dB.

    No low-pass: what is heard first stays where the path puts it.
    """
    high = signal.butter(1, low * rng.uniform(0.7, 1.5), "highpass", fs=fs, output="sos")
    return np.vstack([high, bell(rng.uniform(2500, 9000), rng.uniform(-much, much), 0.7, fs)])


def bell(centre: float, gain_db: float, q: float, fs: int) -> NDArray[np.float64]:
    """One peaking section, shape (1, 6) (R. Bristow-Johnson, Audio EQ Cookbook)."""
    a = 10 ** (gain_db / 40)
    w = 2 * np.pi * min(centre, 0.45 * fs) / fs
    alpha = np.sin(w) / (2 * q)
    b = np.array([1 + alpha * a, -2 * np.cos(w), 1 - alpha * a])
    c = np.array([1 + alpha / a, -2 * np.cos(w), 1 - alpha / a])
    return np.concatenate([b, c])[None, :] / c[0]
