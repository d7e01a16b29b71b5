"""Dry sounds for made-up takes: plucked notes, talk-like noise, strokes, chords, bass lines. Seeded."""

from __future__ import annotations

import itertools

import numpy as np
import scipy.signal
from numpy.typing import NDArray

Sound = NDArray[np.float64]


PHASES = 2048
SIDE = 24


def _kernels() -> Sound:
    """Windowed sinc at PHASES + 1 fractions of a sample, shape (PHASES + 1, 2 * SIDE)."""
    distance = np.arange(PHASES + 1)[:, None] / PHASES - np.arange(-SIDE + 1, SIDE + 1)[None, :]
    return np.sinc(distance) * np.i0(9.0 * np.sqrt(np.maximum(1 - (distance / SIDE) ** 2, 0))) / np.i0(9.0)


_KERNELS = _kernels()


def warped(sound: Sound, positions: Sound) -> Sound:
    """`sound` read at fractional positions (windowed sinc, 48 taps); silence outside."""
    out = np.zeros(len(positions))
    whole = np.floor(positions).astype(np.int64)
    part = (positions - whole) * PHASES
    padded = np.concatenate((np.zeros(SIDE), sound, np.zeros(SIDE + 1)))
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * SIDE)
    inside = (whole >= -SIDE + 1) & (whole < len(sound) + SIDE - 1)
    for start in range(0, len(positions), 1 << 15):
        rows = np.arange(start, min(start + (1 << 15), len(positions)))[inside[start : start + (1 << 15)]]
        step = part[rows].astype(np.int64)
        left = (part[rows] - step)[:, None]
        kernel = _KERNELS[step] * (1 - left) + _KERNELS[step + 1] * left
        taken = windows[np.clip(whole[rows] + 1, 0, len(windows) - 1)]
        out[rows] = np.einsum("ij,ij->i", taken, kernel)
    return out


def delayed(sound: Sound, samples: float, length: int | None = None) -> Sound:
    """The sound `samples` later (fractions too)."""
    count = len(sound) if length is None else length
    size = 1 << (len(sound) + int(abs(samples)) + 4096).bit_length()
    spectrum = np.fft.rfft(sound, size)
    turn = np.exp(-2j * np.pi * np.arange(len(spectrum)) * samples / size)
    turn[-1] = turn[-1].real
    out = np.fft.irfft(spectrum * turn, size)
    return out[:count]


def plucked(seconds: float, rate_hz: int, rng: np.random.Generator, low_hz: float = 110.0) -> Sound:
    """Plucked strings: decaying partials, bright at the attack, a note every 0.15 to 0.5 s."""
    out = np.zeros(round(seconds * rate_hz))
    at = 0.1
    while at < seconds - 0.3:
        f0 = low_hz * 2 ** (rng.integers(0, 25) / 12)
        length = min(round(1.2 * rate_hz), len(out) - round(at * rate_hz))
        t = np.arange(length) / rate_hz
        note = np.zeros(length)
        for k in range(1, 40):
            f = k * f0 * np.sqrt(1 + 2e-4 * k * k)
            if f > 0.42 * rate_hz:
                break
            level = np.sin(np.pi * k * rng.uniform(0.1, 0.25)) / k
            note += level * np.exp(-t * (2.0 + 0.35 * k)) * np.sin(2 * np.pi * f * t + rng.uniform(0, 0.3))
        click = rng.standard_normal(length) * np.exp(-t / 0.003) * 0.1
        start = round(at * rate_hz)
        out[start : start + length] += (note + click) * rng.uniform(0.3, 1.0)
        at += rng.uniform(0.15, 0.5)
    return 0.3 * out / np.abs(out).max()


def talk(seconds: float, rate_hz: int, rng: np.random.Generator) -> Sound:
    """Voice-like: pulses at a wandering pitch and breath noise through moving resonances, in syllables."""
    count = round(seconds * rate_hz)
    control = round(seconds * 6) + 2
    at = np.linspace(0, control - 1, count)
    pitch = np.interp(at, np.arange(control), rng.uniform(95, 220, control))
    phase = np.cumsum(pitch / rate_hz)
    pulses = np.diff(np.floor(phase), prepend=0.0)
    voiced = np.interp(at, np.arange(control), (rng.random(control) > 0.3).astype(float))
    excitation = voiced * pulses * 6 + 0.25 * rng.standard_normal(count) * (0.15 + 0.85 * (1 - voiced))
    loud = np.interp(at * 1.0, np.arange(control), rng.uniform(0.0, 1.0, control)) ** 1.5
    out = np.zeros(count)
    for low, high in ((250, 900), (900, 2400), (2200, 3600), (4000, 9000)):
        f = rng.uniform(low, high)
        b, a = scipy.signal.iirpeak(min(f, 0.45 * rate_hz), 4.0, fs=rate_hz)
        out += scipy.signal.lfilter(b, a, excitation)
    out *= loud
    return 0.3 * out / np.abs(out).max()


def broad(seconds: float, rate_hz: int, rng: np.random.Generator) -> Sound:
    """Dense broadband music: noise with a falling spectrum and a moving level."""
    count = round(seconds * rate_hz)
    noise = scipy.signal.lfilter([1.0], [1.0, -0.85], rng.standard_normal(count))
    control = round(seconds * 4) + 2
    level = np.interp(np.linspace(0, control - 1, count), np.arange(control), rng.uniform(0.3, 1.0, control))
    out = noise * level
    return 0.3 * out / np.abs(out).max()


def strokes(
    seconds: float, rate_hz: int, rng: np.random.Generator, *, every_s: float, tone_hz: float, decay_s: float
) -> Sound:
    """A drum: a pitched thump with noise, stroke after stroke at human times and levels."""
    out = np.zeros(round(seconds * rate_hz))
    at = rng.uniform(0.1, 0.1 + every_s)
    while at < seconds - 0.2:
        start = round(at * rate_hz)
        length = min(round(6 * decay_s * rate_hz), len(out) - start)
        t = np.arange(length) / rate_hz
        rise = 1 - np.exp(-t / 0.0003)
        thump = np.sin(2 * np.pi * tone_hz * t * (1 + 0.5 * np.exp(-t / 0.02))) * np.exp(-t / (1.5 * decay_s))
        rattle = rng.standard_normal(length) * np.exp(-t / decay_s)
        share = 0.25 if tone_hz < 100 else 0.8
        out[start : start + length] += rise * (thump * (1 - share) + share * rattle) * rng.uniform(0.3, 1.0)
        at += every_s * rng.choice([1.0, 1.0, 2.0, 0.5]) + rng.normal(0, 0.008)
    return 0.4 * out / np.abs(out).max()


def bass(seconds: float, rate_hz: int, rng: np.random.Generator) -> Sound:
    """A bass line: low notes with few partials."""
    out = np.zeros(round(seconds * rate_hz))
    at = 0.05
    while at < seconds - 0.3:
        f0 = 41.2 * 2 ** (rng.integers(0, 17) / 12)
        length = min(round(rng.uniform(0.3, 0.7) * rate_hz), len(out) - round(at * rate_hz))
        t = np.arange(length) / rate_hz
        note = sum(
            np.exp(-t * (1 + k)) * np.sin(2 * np.pi * k * f0 * t + rng.uniform(0, 6)) / k**1.6
            for k in range(1, 9)
        )
        note = note * (1 - np.exp(-t / 0.004)) + 0.01 * rng.standard_normal(length) * np.exp(-t / 0.004)
        note[-200:] *= np.linspace(1, 0, 200)
        start = round(at * rate_hz)
        out[start : start + length] += note * rng.uniform(0.5, 1.0)
        at += rng.uniform(0.25, 0.6)
    return 0.3 * out / np.abs(out).max()


def sustained(seconds: float, rate_hz: int, rng: np.random.Generator) -> Sound:
    """Held chords with a little vibrato, changed every few seconds: periodic over long stretches."""
    count = round(seconds * rate_hz)
    t = np.arange(count) / rate_hz
    out = np.zeros(count)
    edge = np.append(np.arange(0.0, seconds, rng.uniform(1.5, 3.0)), seconds)
    for begin, end in itertools.pairwise(edge):
        part = (t >= begin) & (t < end)
        inside = t[part] - begin
        shape = np.minimum(1, np.minimum(inside / 0.08, (end - begin - inside) / 0.08))
        for _ in range(int(rng.integers(1, 4))):
            f0 = 130.8 * 2 ** (rng.integers(0, 20) / 12)
            wobble = (
                0.3 * np.sin(2 * np.pi * rng.uniform(4, 6) * inside + rng.uniform(0, 6)) * rng.uniform(0, 1)
            )
            for k in range(1, 25):
                if k * f0 > 9000:
                    break
                out[part] += (
                    shape * np.sin(2 * np.pi * k * f0 * inside + k * wobble + rng.uniform(0, 6)) / k**1.2
                )
    return 0.25 * out / np.abs(out).max()


def looped(seconds: float, rate_hz: int, rng: np.random.Generator) -> Sound:
    """A short plucked figure repeated exactly, as a machine does."""
    figure = plucked(rng.uniform(0.8, 1.6), rate_hz, rng)
    return np.tile(figure, int(np.ceil(seconds * rate_hz / len(figure))))[: round(seconds * rate_hz)]


def any_music(seconds: float, rate_hz: int, rng: np.random.Generator) -> Sound:
    """One of the ordinary sounds."""
    kind = int(rng.integers(0, 4))
    if kind == 0:
        return plucked(seconds, rate_hz, rng)
    if kind == 1:
        return talk(seconds, rate_hz, rng)
    if kind == 2:
        return broad(seconds, rate_hz, rng)
    return strokes(seconds, rate_hz, rng, every_s=0.4, tone_hz=190.0, decay_s=0.05)


def coloured(sound: Sound, rate_hz: int, rng: np.random.Generator, *, strength: float = 1.0) -> Sound:
    """Through a microphone of its own: minimum-phase low cut, presence, treble roll-off."""
    out = scipy.signal.sosfilt(
        scipy.signal.butter(
            int(rng.integers(1, 3)), rng.uniform(20, 90) * strength, "high", fs=rate_hz, output="sos"
        ),
        sound,
    )
    for low, high in ((150, 600), (1500, 4000), (4000, 9000)):
        out = _bell(
            out, rng.uniform(low, high), rng.uniform(-5, 5) * strength, rng.uniform(0.6, 1.5), rate_hz
        )
    corner = min(rng.uniform(9000, 19000), 0.45 * rate_hz)
    return np.asarray(
        scipy.signal.sosfilt(
            scipy.signal.butter(int(rng.integers(1, 3)), corner, fs=rate_hz, output="sos"), out
        )
    )


def cabinet(sound: Sound, rate_hz: int, rng: np.random.Generator) -> Sound:
    """A loudspeaker box in front of a microphone: what a direct line does not have."""
    low = scipy.signal.butter(2, rng.uniform(70, 110), "high", fs=rate_hz, output="sos")
    high = scipy.signal.butter(4, rng.uniform(4000, 5500), fs=rate_hz, output="sos")
    out = scipy.signal.sosfilt(high, scipy.signal.sosfilt(low, sound))
    return _bell(np.asarray(out), rng.uniform(2000, 3500), rng.uniform(3, 7), 1.0, rate_hz)


def turned(sound: Sound, degrees: float) -> Sound:
    """Every frequency turned by the same phase: not a delay and, but for 0 and 180, not an inversion."""
    analytic = scipy.signal.hilbert(sound)
    return np.asarray((analytic * np.exp(1j * np.deg2rad(degrees))).real)


def hum(seconds: float, rate_hz: int, rng: np.random.Generator, mains_hz: float = 50.0) -> Sound:
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    return np.asarray(
        sum(
            rng.uniform(0.2, 1) / k * np.sin(2 * np.pi * mains_hz * k * t + rng.uniform(0, 6))
            for k in (1, 2, 3, 4, 5, 7)
        )
    )


def with_noise(sound: Sound, ratio_db: float, rng: np.random.Generator) -> Sound:
    """White noise added, so many dB under the sound's rms."""
    level = np.sqrt(np.mean(sound**2)) * 10 ** (-ratio_db / 20)
    return sound + level * rng.standard_normal(len(sound))


def _bell(sound: Sound, hz: float, gain_db: float, q: float, rate_hz: int) -> Sound:
    """Peaking equaliser, minimum phase (bilinear)."""
    a = 10 ** (gain_db / 40)
    w = 2 * np.pi * min(hz, 0.45 * rate_hz) / rate_hz
    alpha = np.sin(w) / (2 * q)
    b = [1 + alpha * a, -2 * np.cos(w), 1 - alpha * a]
    c = [1 + alpha / a, -2 * np.cos(w), 1 - alpha / a]
    return np.asarray(scipy.signal.lfilter(b, c, sound))
