"""Sounds for the material: struck, plucked, bowed, blown, spoken; mono float64 at `fs` Hz.

Everything is drawn from a numpy Generator that the caller seeds; nothing here knows rooms or
microphones. Struck things return *components*, shape (4, frames): what radiates alike to all sides, and
what swings along x, y and z (a dipole), because the far side of a drum is not the near side.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

Samples = NDArray[np.float64]
Rng = np.random.Generator

BLOCK = 256
# Zeros of the Bessel functions of a circular membrane over the first one (Rayleigh, Theory of Sound, 206).
MEMBRANE = np.array([1.0, 1.593, 2.136, 2.296, 2.653, 2.918, 3.156, 3.501, 3.6, 3.652, 4.06, 4.154])


def modes(freqs: Samples, decays: Samples, amps: NDArray[np.complex128], frames: int, fs: int) -> Samples:
    """Sum of dying sines: Re(sum a exp((-6.9/decay + 2 pi i f) t)), `decays` in seconds to -60 dB."""
    pole = np.exp((-6.9078 / decays + 2j * np.pi * freqs) / fs)
    blocks = -(-frames // BLOCK)
    rows = (pole[None, :] ** BLOCK) ** np.arange(blocks)[:, None] * amps
    columns = pole[:, None] ** np.arange(BLOCK)[None, :]
    return (rows @ columns).real.reshape(-1)[:frames]


def pink(rng: Rng, frames: int, fs: int, lowest: float = 20.0, slope: float = 1.0) -> Samples:
    """Noise of unit rms whose power falls by `slope` x 3 dB an octave above `lowest` Hz."""
    size = fft.next_fast_len(frames, real=True)
    spectrum = fft.rfft(rng.standard_normal(size, np.float32))
    f = np.fft.rfftfreq(size, 1 / fs).astype(np.float32)
    y = fft.irfft(spectrum / np.maximum(f, lowest) ** (slope / 2), size)[:frames].astype(np.float64)
    return y / (np.std(y) + 1e-30)


def band(x: Samples, lo: float | None, hi: float | None, fs: int, order: int = 2) -> Samples:
    """Butterworth band, minimum phase."""
    if lo:
        x = signal.sosfilt(signal.butter(order, lo, "highpass", fs=fs, output="sos"), x)
    if hi and hi < 0.49 * fs:
        x = signal.sosfilt(signal.butter(order, hi, "lowpass", fs=fs, output="sos"), x)
    return x


def contact(duration: float, fs: int) -> Samples:
    """Force of a stick or hammer: half a sine squared of `duration` seconds, unit sum."""
    k = max(3, int(duration * fs))
    w = np.sin(np.pi * (np.arange(k) + 0.5) / k) ** 2
    return w / w.sum()


def add(y: Samples, x: Samples, at: int, gain: float = 1.0) -> None:
    """Add `x` into `y` from frame `at` on, last axis, cut at the end."""
    m = min(x.shape[-1], y.shape[-1] - at)
    if at >= 0 and m > 0:
        y[..., at : at + m] += gain * x[..., :m]


def faded(x: Samples, fs: int, seconds: float = 0.02) -> Samples:
    k = min(x.shape[-1] // 2, int(seconds * fs))
    x = x.copy()
    x[..., x.shape[-1] - k :] *= np.linspace(1, 0, k)
    return x


# ---- drums --------------------------------------------------------------------------------------


def _sides(
    rng: Rng, amps: NDArray[np.complex128], share: float, tilt: Samples
) -> list[NDArray[np.complex128]]:
    """Amplitudes of the four components: all round, and dipoles of `share`, growing with `tilt` (0..1)."""
    parts = [amps]
    for _ in range(3):
        parts.append(amps * share * tilt * rng.uniform(-1, 1, amps.size))
    return parts


def membrane(
    rng: Rng, fs: int, f0: float, decay: float, touch: float, *, glide: float = 0.0, share: float = 0.5
) -> Samples:
    """A tom or drum head, shape (4, frames): membrane modes struck for `touch` seconds, pitch glide."""
    frames = int(min(decay * 1.1, 1.2) * fs)
    detune = rng.normal(1, 0.01, MEMBRANE.size)
    f = np.concatenate([f0 * MEMBRANE * detune, rng.uniform(4 * f0, 4500, 30)])
    d = np.concatenate([decay * MEMBRANE**-1.1, rng.uniform(0.03, 0.12, 30)])
    a = np.concatenate([rng.uniform(0.4, 1.0, MEMBRANE.size) * MEMBRANE**-0.7, rng.uniform(0.03, 0.15, 30)])
    amps = a * np.exp(1j * np.pi / 2 * rng.choice([-1, -1, -1, 1], a.size))
    tilt = np.clip(np.log2(f / f0) / 3, 0, 1)
    force = contact(touch, fs)
    out = np.stack([modes(f, d, p, frames, fs) for p in _sides(rng, amps, share, tilt)])
    stick = band(rng.standard_normal(frames), 800, None, fs) * np.exp(-np.arange(frames) / (0.0012 * fs))
    out[0] += rng.uniform(0.1, 0.4) * stick
    out = signal.fftconvolve(out, force[None, :], axes=1)[:, :frames]
    if glide:
        t = np.arange(frames) / fs
        warped = (t + glide * 0.05 * (1 - np.exp(-t / 0.05))) * fs
        out = np.stack([np.interp(warped, np.arange(frames), c) for c in out])
    return faded(out / np.max(np.abs(out[0])), fs)


def kick(rng: Rng, fs: int) -> Samples:
    body = membrane(rng, fs, rng.uniform(45, 68), rng.uniform(0.25, 0.5), 0.004, glide=rng.uniform(0.2, 0.6))
    click = band(rng.standard_normal(body.shape[1]), 1200, 7000, fs)
    body[0] += rng.uniform(0.1, 0.35) * click * np.exp(-np.arange(click.size) / (0.002 * fs))
    return body


def tom(rng: Rng, fs: int, f0: float) -> Samples:
    return membrane(rng, fs, f0, rng.uniform(0.4, 0.9), 0.002, glide=rng.uniform(0.05, 0.2))


def snare(rng: Rng, fs: int) -> tuple[Samples, Samples]:
    """Top head, shape (4, frames), and bottom head with wires, shape (frames,): later, upside down."""
    top = membrane(rng, fs, rng.uniform(170, 250), rng.uniform(0.15, 0.3), 0.0012, share=0.7)
    frames = top.shape[1]
    t = np.arange(frames) / fs
    wires = band(rng.standard_normal(frames), 1500, 12000, fs)
    grow = (1 - np.exp(-t / 0.001)) * np.exp(-t / rng.uniform(0.03, 0.08))
    late = int(rng.uniform(0.0002, 0.0005) * fs)
    head = np.zeros(frames)
    head[late:] = -band(top[0] + 0.3 * top[3], None, 2500, fs, 1)[: frames - late]
    wire = np.zeros(frames)
    wire[late:] = (wires * grow)[: frames - late]
    bottom = head / (np.max(np.abs(head)) + 1e-9) + rng.uniform(0.3, 0.8) * wire / np.max(np.abs(wire))
    top[0] += rng.uniform(0.1, 0.25) * wire / np.max(np.abs(wire))
    return top, bottom


def cymbal(rng: Rng, fs: int, kind: str) -> Samples:
    """A plate of some hundred modes, shape (4, frames): `hat`, `open`, `ride` or `crash`."""
    decay, lo, touch = {
        "hat": (0.07, 900, 0.0004),
        "open": (0.6, 500, 0.0004),
        "ride": (1.2, 400, 0.0006),
        "crash": (1.6, 250, 0.0015),
    }[kind]
    frames = int(min(decay * 1.1, 1.4) * fs)
    count = 220
    f = lo * (min(19000, 0.45 * fs) / lo) ** rng.uniform(0, 1, count)
    d = decay * rng.uniform(0.4, 1.2, count) * (f / lo) ** -0.25
    a = rng.uniform(0.2, 1, count) * (f / 3000) ** rng.uniform(-0.2, 0.4)
    amps = a * np.exp(2j * np.pi * rng.uniform(0, 1, count))
    out = np.stack([modes(f, d, p, frames, fs) for p in _sides(rng, amps, 0.9, np.ones(count))])
    t = np.arange(frames) / fs
    out *= 1 - np.exp(-t / {"hat": 2e-4, "open": 3e-4, "ride": 4e-4, "crash": 4e-3}[kind])
    strike = rng.standard_normal(frames) * np.exp(-t / 0.0004)
    out[0] += rng.uniform(0.3, 1.2) * np.max(np.abs(out[0])) * band(strike, lo, None, fs)
    out = signal.fftconvolve(out, contact(touch, fs)[None, :], axes=1)[:, :frames]
    return faded(out / np.max(np.abs(out[0])), fs)


# ---- single events ------------------------------------------------------------------------------


def impulse(rng: Rng, fs: int, kind: str) -> Samples:
    """One event that starts at frame 0: `click`, `clap`, `slate`, `balloon`, `note` or `stroke`."""
    frames = int(0.6 * fs)
    t = np.arange(frames) / fs
    if kind == "click":
        y = np.zeros(frames)
        y[: int(0.0002 * fs)] = 1.0
        y = band(y, 200, 14000, fs, 1)
    elif kind == "clap":
        y = band(rng.standard_normal(frames), 300, 9000, fs) * np.exp(-t / rng.uniform(0.003, 0.008))
        y += modes(
            rng.uniform(700, 2500, 4),
            rng.uniform(0.01, 0.03, 4),
            np.exp(2j * np.pi * rng.uniform(0, 1, 4)),
            frames,
            fs,
        )
    elif kind == "slate":
        f = rng.uniform(600, 6000, 14)
        wood = modes(f, rng.uniform(0.01, 0.05, 14), 1j * rng.uniform(-1, 1, 14), frames, fs)
        y = wood + 0.8 * rng.standard_normal(frames) * np.exp(-t / 0.0006)
        bounce = int(rng.uniform(0.012, 0.03) * fs)
        y[bounce:] += 0.3 * y[: frames - bounce]
    elif kind == "balloon":
        w = 0.0006 * fs
        k = np.arange(frames)
        y = (1 - k / w) * np.exp(-k / w)
        y += 0.1 * band(rng.standard_normal(frames), 400, None, fs) * np.exp(-t / 0.004)
    elif kind == "note":
        y = pluck(rng, fs, float(rng.choice([110, 147, 196, 262, 392])), 0.6)
    else:
        y = membrane(rng, fs, rng.uniform(90, 220), 0.4, 0.0015)[0]
    return faded(y / np.max(np.abs(y)), fs)


# ---- strings, winds, voices ---------------------------------------------------------------------


def pluck(rng: Rng, fs: int, f0: float, seconds: float, bright: float = 0.5, pick: float = 0.03) -> Samples:
    """A plucked or hammered string: stiff partials, place of the pluck, a short pick noise of gain `pick`."""
    count = int(max(3, min(60, 9000 / f0, 0.45 * fs / f0)))
    k = np.arange(1, count + 1)
    stiff = 10 ** rng.uniform(-4.5, -3.7)
    f = f0 * k * np.sqrt(1 + stiff * k**2)
    keep = f < 0.45 * fs
    place = rng.uniform(0.08, 0.25)
    a = np.sin(np.pi * k * place) / k ** (1.6 - bright)
    d = rng.uniform(1.5, 4.0) / (1 + (k * f0 / 1200) ** 1.2)
    amps = (a * np.exp(-1j * np.pi / 2)).astype(complex)
    frames = int(seconds * fs)
    y = modes(f[keep], d[keep], amps[keep], frames, fs)
    y /= np.max(np.abs(y)) + 1e-12
    t = np.arange(frames) / fs
    y += pick * band(rng.standard_normal(frames), 1000, None, fs, 1) * np.exp(-t / 0.0015)
    y[: int(0.0006 * fs)] *= np.linspace(0, 1, int(0.0006 * fs))
    return faded(y, fs, 0.03)


def tone(
    rng: Rng, fs: int, f0: float, seconds: float, *, attack: float, tilt: float, breath: float, vibrato: float
) -> Samples:
    """A blown or bowed note: harmonics falling by `k**-tilt`, a swell of `attack` s, breath or bow noise."""
    frames = int(seconds * fs)
    t = np.arange(frames) / fs
    drift = band(rng.standard_normal(frames), None, 8, fs, 1)
    drift /= np.std(drift) + 1e-12
    rate = rng.uniform(4.5, 6.5)
    swing = np.minimum(t / 0.4, 1) * np.sin(2 * np.pi * rate * t + rng.uniform(0, 6.28))
    f = f0 * (1 + 0.003 * vibrato * swing + 0.0008 * drift)
    phase = np.cumsum(f) / fs
    count = int(min(40, 0.42 * fs / f0))
    k = np.arange(1, count + 1)
    a = k**-tilt * rng.uniform(0.5, 1.2, count)
    table = (a[:, None] * np.sin(2 * np.pi * k[:, None] * np.arange(2048) / 2048 + 0.3 * k[:, None])).sum(0)
    table /= np.max(np.abs(table))
    table = np.append(table, table[0])
    y = np.interp((phase % 1.0) * 2048, np.arange(2049), table)
    dull = band(y, None, 2.5 * f0 + 300, fs, 1)
    grow = np.clip(t / attack, 0, 1)
    y = grow * y + (1 - grow) * dull
    noise = band(rng.standard_normal(frames), 600, 9000, fs, 1)
    y += breath * noise / np.std(noise) * (0.2 + 0.3 * (1 - table[((phase % 1) * 2048).astype(int)] ** 2))
    shape = np.clip(t / attack, 0, 1) ** 1.5 * np.clip((seconds - t) / 0.06, 0, 1)
    return y * shape


VOWELS = np.array(
    [[730, 1090, 2440], [270, 2290, 3010], [570, 840, 2410], [300, 870, 2240], [530, 1840, 2480]]
)  # Peterson and Barney, JASA 24 (1952) 175, men: a, i, o, u, e


def voice(rng: Rng, fs: int, frames: int, *, sung: bool = False) -> tuple[Samples, Samples]:
    """Speech or singing: what the mouth radiates, and the glottal pulses alone (for a contact microphone)."""
    out, throat = np.zeros(frames), np.zeros(frames)
    at = int(rng.uniform(0.02, 0.3) * fs)
    f0 = rng.uniform(95, 240)
    while at < frames - int(0.1 * fs):
        seconds = rng.uniform(0.5, 1.2) if sung else rng.uniform(0.12, 0.32)
        m = min(int(seconds * fs), frames - at)
        t = np.arange(m) / fs
        if sung:
            pitch = f0 * 2 ** (rng.integers(-5, 7) / 12) * (1 + 0.006 * np.sin(2 * np.pi * 5.3 * t))
        else:
            pitch = f0 * (1 + rng.uniform(-0.2, 0.25)) * (1 + rng.uniform(-0.3, 0.2) * t / seconds)
        pitch = pitch * (1 + 0.01 * band(rng.standard_normal(m), None, 30, fs, 1) * 20)
        phase = np.cumsum(pitch) / fs % 1.0
        open_ = np.clip(phase / 0.6, 0, 1)
        flow = np.where(phase < 0.6, open_**2 * (1 - open_), 0.0)
        pulse = np.diff(flow, prepend=0.0) * fs / pitch
        shape = np.clip(t / 0.02, 0, 1) * np.clip((seconds - t) / 0.05, 0, 1)
        pulse = (pulse + 0.02 * rng.standard_normal(m) * (0.3 + flow)) * shape
        mouth = pulse
        for centre, width in zip(
            VOWELS[rng.integers(len(VOWELS))] * rng.uniform(0.95, 1.2), (80, 100, 160), strict=True
        ):
            r = np.exp(-np.pi * width / fs)
            mouth = signal.lfilter([1 - r], [1, -2 * r * np.cos(2 * np.pi * centre / fs), r * r], mouth)
        mouth = np.diff(mouth, prepend=0.0)
        gain = 10 ** (rng.uniform(-8, 0) / 20)
        peak = np.max(np.abs(mouth)) + 1e-12
        add(out, mouth / peak, at, gain)
        add(throat, pulse / (np.max(np.abs(pulse)) + 1e-12), at, gain)
        if rng.random() < 0.6:  # a consonant before the vowel
            hiss = int(rng.uniform(0.03, 0.1) * fs)
            edge = (
                np.hanning(2 * hiss)[:hiss] if rng.random() < 0.5 else np.exp(-np.arange(hiss) / (0.006 * fs))
            )
            noise = (
                band(rng.standard_normal(hiss), rng.uniform(1500, 4000), rng.uniform(7000, 12000), fs) * edge
            )
            add(out, noise / (np.max(np.abs(noise)) + 1e-12), at - hiss, gain * rng.uniform(0.1, 0.5))
        at += m + (
            int(rng.uniform(0.15, 0.6) * fs) if rng.random() < 0.3 else int(rng.uniform(0.0, 0.08) * fs)
        )
    return out, throat


SCALES = ([0, 2, 4, 5, 7, 9, 11], [0, 2, 3, 5, 7, 8, 10], [0, 3, 5, 7, 10])


def melody(rng: Rng, low: float, notes: int) -> Samples:
    """Fundamentals of a stepwise tune above `low` Hz."""
    scale = SCALES[rng.integers(len(SCALES))]
    place = int(rng.integers(0, 7))
    out = []
    for _ in range(notes):
        place = int(np.clip(place + rng.integers(-3, 4), 0, 13))
        out.append(low * 2 ** ((scale[place % len(scale)] + 12 * (place // len(scale))) / 12))
    return np.array(out)


INSTRUMENTS = (
    "guitar",
    "bass",
    "violin",
    "cello",
    "flute",
    "clarinet",
    "brass",
    "sax",
    "tuba",
    "piano",
    "voice",
)


def performance(
    rng: Rng, fs: int, frames: int, kind: str, score: Sequence[tuple[float, float, float]] | None = None
) -> Samples:
    """A player's part over `frames`; `score` rows are (start s, seconds, Hz), drawn where absent."""
    if kind == "voice" and score is None:
        return voice(rng, fs, frames, sung=bool(rng.random() < 0.5))[0]
    score = new_score(rng, frames / fs, kind) if score is None else score
    y = np.zeros(frames)
    for start, seconds, f0 in score:
        gain = 10 ** (rng.uniform(-9, 0) / 20)
        add(y, note(rng, fs, kind, f0, seconds), int(start * fs), gain)
    return y / (np.max(np.abs(y)) + 1e-12)


LOWEST = {
    "guitar": 98.0,
    "bass": 41.2,
    "violin": 220.0,
    "cello": 73.0,
    "flute": 294.0,
    "clarinet": 165.0,
    "brass": 131.0,
    "sax": 147.0,
    "tuba": 49.0,
    "piano": 131.0,
    "voice": 131.0,
}


def new_score(
    rng: Rng, seconds: float, kind: str, tempo: float | None = None
) -> list[tuple[float, float, float]]:
    """A tune as (start s, seconds, Hz) rows, on a loose grid of eighths and quarters."""
    beat = 60 / (tempo or rng.uniform(80, 140))
    pitches = iter(melody(rng, LOWEST[kind], 400))
    rows, at = [], float(rng.uniform(0.1, 0.5))
    while at < seconds - 0.15:
        length = beat * float(rng.choice([0.5, 0.5, 1, 1, 2]))
        if rng.random() > 0.12:
            rows.append((at + float(rng.normal(0, 0.004)), min(length, 1.2), float(next(pitches))))
        at += length
    return rows


def note(rng: Rng, fs: int, kind: str, f0: float, seconds: float) -> Samples:
    if kind in ("guitar", "bass", "piano"):
        bright = {
            "guitar": rng.uniform(0.3, 0.8),
            "bass": rng.uniform(0.0, 0.4),
            "piano": rng.uniform(0.2, 0.6),
        }[kind]
        return pluck(rng, fs, f0, seconds + 0.15, bright, {"guitar": 0.06, "bass": 0.02, "piano": 0.04}[kind])
    attack, tilt, breath, vibrato = {
        "violin": (0.05, 1.0, 0.06, 1.0),
        "cello": (0.06, 1.0, 0.05, 0.7),
        "flute": (0.04, 2.2, 0.12, 0.6),
        "clarinet": (0.03, 1.3, 0.05, 0.1),
        "brass": (0.03, 0.9, 0.02, 0.3),
        "sax": (0.025, 0.9, 0.08, 0.6),
        "tuba": (0.04, 1.3, 0.03, 0.1),
        "voice": (0.05, 1.2, 0.04, 0.8),
    }[kind]
    return tone(
        rng, fs, f0, seconds, attack=attack * rng.uniform(0.6, 1.6), tilt=tilt, breath=breath, vibrato=vibrato
    )


def hum(rng: Rng, fs: int, frames: int, mains: float) -> Samples:
    """Mains and its overtones, unit rms."""
    t = np.arange(frames) / fs
    k = np.arange(1, 13)
    a = rng.uniform(0.1, 1, k.size) / k * np.where(k % 2, 1.0, 0.5)
    y = (a[:, None] * np.sin(2 * np.pi * mains * k[:, None] * t + rng.uniform(0, 6.28, k.size)[:, None])).sum(
        0
    )
    return y / np.std(y)
