"""A shoebox room: image sources for the early sound, shaped noise for the late, exact delay for the direct.

Early: J. Allen and D. Berkley, "Image method for efficiently simulating small-room acoustics",
J. Acoust. Soc. Am. 65(4), 1979, 943-950. Every image is placed at its exact fraction of a sample by a
windowed sinc, and filtered once a bounce by one minimum-phase wall response, so nothing sounds
before the direct sound. The wall response follows from the reverberation time a band (Eyring, 1930).
Late: noise that dies away with the reverberation time of each octave, joined in level to the images.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from generator.noise import Signal, normal

RATE_HZ = 48_000
HALF_TAPS = 64
KAISER_BETA = 12.0
OCTAVES_HZ = np.array([125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0])
JOIN_FROM_S, JOIN_TO_S = 0.045, 0.085  # after the direct sound: images fade into noise

Point = tuple[float, float, float]


def speed_of_sound(temperature_c: float) -> float:
    """m/s in dry air: 343.2 sqrt(T / 293.15), ISO 9613-1:1993."""
    return 343.2 * math.sqrt((temperature_c + 273.15) / 293.15)


def distance_m(a: Point, b: Point) -> float:
    return math.dist(a, b)


@dataclass(frozen=True)
class Room:
    """`size_m` (x, y, z); corners at the origin and there. `rt60_s`: one value an octave of OCTAVES_HZ."""

    size_m: Point
    rt60_s: tuple[float, ...]
    temperature_c: float

    @property
    def volume_m3(self) -> float:
        return math.prod(self.size_m)

    @property
    def surface_m2(self) -> float:
        x, y, z = self.size_m
        return 2 * (x * y + y * z + x * z)

    def delay_samples(self, metres: float) -> float:
        return metres / speed_of_sound(self.temperature_c) * RATE_HZ

    def rt60_at(self, hz: Signal) -> Signal:
        octave = np.log2(np.maximum(hz, 1.0) / OCTAVES_HZ[0])
        return np.interp(octave, np.arange(len(OCTAVES_HZ)), self.rt60_s)

    def wall_response(self, count: int) -> np.ndarray:
        """Complex response of one bounce at the `count // 2 + 1` frequencies of a real FFT; minimum phase."""
        hz = np.fft.rfftfreq(count, 1 / RATE_HZ)
        # Eyring: RT = 0.161 V / (-S ln(1 - a)), and a pressure keeps sqrt(1 - a) a bounce.
        kept = np.exp(-0.0805 * self.volume_m3 / (self.surface_m2 * self.rt60_at(hz)))
        return minimum_phase(kept)


@dataclass(frozen=True)
class Ear:
    """Where a microphone stands and looks. `omni` 1.0 hears all round, 0.5 is a cardioid."""

    at_m: Point
    towards_m: Point
    omni: float = 1.0

    def gain(self, from_m: np.ndarray) -> np.ndarray:
        """Gain for sound arriving from points, shape (n, 3)."""
        look = np.subtract(self.towards_m, self.at_m)
        look = look / np.linalg.norm(look)
        way = from_m - np.asarray(self.at_m)
        cosine = way @ look / np.maximum(np.linalg.norm(way, axis=1), 1e-9)
        return self.omni + (1 - self.omni) * cosine


def minimum_phase(magnitude: Signal) -> np.ndarray:
    """The minimum-phase response of a positive magnitude on a real-FFT grid (folded real cepstrum)."""
    cepstrum = np.fft.irfft(np.log(magnitude))
    count = len(cepstrum)
    fold = np.zeros(count)
    fold[0] = fold[count // 2] = 1.0
    fold[1 : count // 2] = 2.0
    return np.exp(np.fft.rfft(cepstrum * fold))


def place(train: Signal, at_samples: np.ndarray, gains: np.ndarray) -> None:
    """Add impulses to `train` at exact, fractional places: sinc, 2 x HALF_TAPS taps, Kaiser window.

    Below 20 kHz at 48 kHz the error of such a kernel stays under -120 dB.
    """
    whole = np.floor(at_samples).astype(np.int64)
    taps, kernel = _taps(at_samples - whole)
    index = whole[:, None] + taps[None, :]
    inside = (index >= 0) & (index < len(train))
    np.add.at(train, index[inside], (gains[:, None] * kernel)[inside])


def by_own_clock(signal: Signal, starts_s: float, clock_ppm: float) -> Signal:
    """What a recorder stores that was started `starts_s` late and counts `clock_ppm` too fast.

    Its sample n is the sound at starts_s + n / (rate (1 + ppm)), read with the same windowed sinc.
    """
    if starts_s == 0.0 and clock_ppm == 0.0:
        return signal
    count = int((len(signal) - starts_s * RATE_HZ) * (1 + 1e-6 * clock_ppm)) - HALF_TAPS
    padded = np.pad(signal, HALF_TAPS)
    out = np.empty(count)
    for first in range(0, count, 65_536):
        at = starts_s * RATE_HZ + np.arange(first, min(first + 65_536, count)) / (1 + 1e-6 * clock_ppm)
        whole = np.floor(at).astype(np.int64)
        index, kernel = _taps(at - whole)
        out[first : first + len(at)] = np.sum(kernel * padded[whole[:, None] + index + HALF_TAPS], axis=1)
    return out


def _taps(fraction: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places of the taps against the whole sample, shape (taps,), and a kernel a fraction, (n, taps)."""
    taps = np.arange(-HALF_TAPS + 1, HALF_TAPS + 1)
    offset = taps[None, :] - fraction[:, None]
    window = np.i0(KAISER_BETA * np.sqrt(np.maximum(0.0, 1 - (offset / HALF_TAPS) ** 2))) / np.i0(KAISER_BETA)
    return taps, np.sinc(offset) * window


def images(room: Room, source: Point, reach_m: float, ear: Point) -> tuple[np.ndarray, np.ndarray]:
    """Mirrored sources within `reach_m` of the ear: places, shape (n, 3), and bounces on the way, (n,)."""
    axes = []
    for size, at in zip(room.size_m, source, strict=True):
        reach = int(reach_m / (2 * size)) + 2
        turn = np.arange(-reach, reach + 1)
        places = np.concatenate([2 * turn * size + at, 2 * turn * size - at])
        axes.append((places, np.concatenate([np.abs(2 * turn), np.abs(2 * turn - 1)])))
    grid = np.stack([m.ravel() for m in np.meshgrid(*(a[0] for a in axes), indexing="ij")], axis=1)
    bounces = sum(m.ravel() for m in np.meshgrid(*(a[1] for a in axes), indexing="ij"))
    near = np.linalg.norm(grid - np.asarray(ear), axis=1) <= reach_m
    return grid[near], np.asarray(bounces)[near]


def impulse_response(
    room: Room, source: Point, ear: Ear, *, body_m: float, seconds: float, seed: tuple[int, ...]
) -> Signal:
    """Response from a point to a microphone, whose direct sound lies at exactly distance / c * rate.

    `body_m`: radius of the source. Amplitude falls as 1 / sqrt(d^2 + body^2), because close to a skin or a
    board sound no longer grows as from a point; the delay is always that of the distance d.
    """
    count = int(seconds * RATE_HZ)
    size = 1 << (count + 4096).bit_length()
    direct_s = distance_m(source, ear.at_m) / speed_of_sound(room.temperature_c)
    early_s = direct_s + JOIN_TO_S
    at, bounces = images(room, source, early_s * speed_of_sound(room.temperature_c), ear.at_m)
    away = np.linalg.norm(at - np.asarray(ear.at_m), axis=1)
    gains = ear.gain(at) / np.sqrt(away**2 + body_m**2)
    train = np.zeros(size)
    wall = room.wall_response(size)
    sum_f = np.zeros(size // 2 + 1, dtype=complex)
    for bounce in range(int(bounces.max()), -1, -1):  # Horner: one more wall for each bounce
        train[:] = 0.0
        pick = bounces == bounce
        place(train, away[pick] * RATE_HZ / speed_of_sound(room.temperature_c), gains[pick])
        sum_f = sum_f * wall + np.fft.rfft(train)
    early = np.fft.irfft(sum_f, size)[:count]
    return joined(early, late_noise(room, count, seed), direct_s)


def octave_masks(count: int) -> np.ndarray:
    """Gains of overlapping octave bands on a real-FFT grid, shape (octaves, count // 2 + 1), adding to 1."""
    hz = np.fft.rfftfreq(count, 1 / RATE_HZ)
    octave = np.clip(np.log2(np.maximum(hz, 1.0) / OCTAVES_HZ[0]), 0, len(OCTAVES_HZ) - 1)
    return np.array([np.maximum(0.0, 1 - np.abs(octave - band)) for band in range(len(OCTAVES_HZ))])


def late_noise(room: Room, count: int, seed: tuple[int, ...]) -> np.ndarray:
    """Noise dying away octave by octave, shape (octaves, count)."""
    spectrum = np.fft.rfft(normal(count, *seed))
    time_s = np.arange(count) / RATE_HZ
    decay = np.exp(-6.9078 * time_s[None, :] / np.asarray(room.rt60_s)[:, None])
    return np.fft.irfft(spectrum[None, :] * octave_masks(count), count) * decay


def joined(early: Signal, late: np.ndarray, direct_s: float) -> Signal:
    """Images fading into the noise, whose level in each octave is taken from the images where they meet."""
    count = len(early)
    first, last = (int((direct_s + s) * RATE_HZ) for s in (JOIN_FROM_S, JOIN_TO_S))
    bands = np.fft.irfft(np.fft.rfft(early)[None, :] * octave_masks(count), count)
    meet = slice(int((direct_s + 0.03) * RATE_HZ), last)
    level = np.sqrt(np.sum(bands[:, meet] ** 2, axis=1) / np.sum(late[:, meet] ** 2, axis=1))
    ramp = np.clip((np.arange(count) - first) / (last - first), 0.0, 1.0)
    fade_in, fade_out = np.sin(ramp * np.pi / 2), np.cos(ramp * np.pi / 2)
    return early * fade_out + (level @ late) * fade_in
