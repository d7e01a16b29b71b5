"""Things that ring: sums of decaying sines started by a blow. Strings, boards, skins, plates."""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, fftconvolve, sosfilt
from scipy.special import jn_zeros

from generator.noise import Signal, normal, spread
from generator.room import RATE_HZ

HIGHEST_HZ = 19_000.0


def ringing(
    hz: Signal, gains: Signal, t60_s: Signal, seconds: float, glide: float = 0.0, glide_s: float = 0.03
) -> Signal:
    """Sum of sines that start together at zero and die away by 60 dB in `t60_s`.

    `glide`: part of its pitch by which a hard-hit skin starts high, falling with time constant `glide_s`.
    """
    time_s = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    turns = time_s + glide * glide_s * (1 - np.exp(-time_s / glide_s))
    out = np.zeros(len(time_s))
    for f, gain, t60 in zip(hz, gains, t60_s, strict=True):
        if f < HIGHEST_HZ:
            stop = min(len(time_s), int(1.7 * t60 * RATE_HZ))  # -102 dB
            out[:stop] += gain * np.sin(2 * np.pi * f * turns[:stop]) * np.exp(-6.9078 / t60 * time_s[:stop])
    return out


def blow(contact_s: float) -> Signal:
    """Force of a hammer or stick: half a sine that lasts `contact_s`, area 1."""
    count = max(3, round(contact_s * RATE_HZ))
    push = np.sin(np.pi * (np.arange(count) + 1) / (count + 1))
    return push / push.sum()


def string_course(pitch_hz: float, seconds: float, seed: int) -> Signal:
    """Two steel strings of one course, a breath apart in pitch, struck at a ninth of their length.

    Stiff-string partials n f sqrt(1 + B n^2) (H. Fletcher, J. Acoust. Soc. Am. 36, 1964, 203-209).
    """
    count = int(min(60, 17_000 / pitch_hz))
    partial = np.arange(1, count + 1)
    out = np.zeros(int(seconds * RATE_HZ))
    for string, cents in enumerate((-0.9, 1.1)):
        stiff = 0.00006 * (pitch_hz / 300) ** 1.2
        hz = pitch_hz * 2 ** (cents / 1200) * partial * np.sqrt(1 + stiff * partial**2)
        gains = np.sin(np.pi * partial / 9.3) / partial**0.12
        gains = gains * spread(count, 0.75, 1.25, seed, string)
        damping = 1.25 + 0.0011 * pitch_hz + 1.7e-7 * hz**2
        out += ringing(hz, gains, 6.9078 / damping, seconds)
    return out


def soundboard(seconds: float, seed: int, *, straight: float, body: float) -> Signal:
    """Response of a spruce board from bridge to air or to a contact pickup.

    `straight`: what goes through at once; `body`: strength of some forty resonances from 95 Hz up.
    """
    count = 42
    hz = 95.0 * (np.arange(1, count + 1) ** 1.02) * 1.13 + spread(count, -25, 25, seed, 1)
    hz = np.abs(hz)
    quality = spread(count, 14, 34, seed, 2)
    gains = body * spread(count, 0.35, 1.0, seed, 3) * np.sqrt(hz / 300) / (1 + (hz / 2600) ** 2)
    out = ringing(hz, gains * 2 * np.pi * hz / RATE_HZ / 12, 6.9078 * quality / (np.pi * hz), seconds)
    out[0] += straight  # a blow goes through at once, before the board begins to ring
    return out


def skin_ratios(count: int) -> Signal:
    """Pitches of an ideal round skin over its lowest: zeros of the Bessel functions (Rayleigh, 1877)."""
    zeros = np.sort(np.concatenate([jn_zeros(order, 8) for order in range(14)]))
    return zeros[:count] / zeros[0]


def skin(
    pitch_hz: float, seconds: float, t60_s: float, seed: int, *, modes: int = 40, glide: float = 0.06
) -> Signal:
    """A struck skin over a shell of air; higher modes die sooner and the air bends the lowest apart."""
    ratio = skin_ratios(modes)
    bent = ratio ** np.where(ratio < 2.4, 0.93, 1.0)
    hz = pitch_hz * bent * (1 + spread(modes, -0.012, 0.012, seed, 1))
    gains = spread(modes, 0.35, 1.0, seed, 2) / ratio**0.4
    gains[:2] = 2.4, 1.5
    t60 = t60_s / (1 + 0.55 * (ratio - 1))
    return ringing(hz, gains, t60, seconds, glide)


def plate(
    low_hz: float, high_hz: float, count: int, seconds: float, t60_s: float, seed: int, *, tilt: float = 0.0
) -> Signal:
    """A cymbal-like plate: evenly dense modes, as a flat plate has them; the high ones die sooner."""
    hz = low_hz + (high_hz - low_hz) * (np.arange(count) + spread(count, 0, 1, seed, 1)) / count
    gains = spread(count, 0.2, 1.0, seed, 2) * np.where(spread(count, -1, 1, seed, 3) < 0, -1, 1)
    gains = gains * (hz / 3000) ** tilt / np.sqrt(count)
    t60 = t60_s * spread(count, 0.6, 1.2, seed, 4) / (1 + (hz / 5200) ** 1.4)
    return ringing(hz, gains, t60, seconds)


def hiss(seconds: float, t60_s: float, low_hz: float, high_hz: float, seed: int) -> Signal:
    """A burst of noise in a band, dying away: rattling wires, stick on wood, breath of a skin."""
    count = int(seconds * RATE_HZ)
    noise = normal(count, seed, 5)
    band = sosfilt(butter(2, [low_hz, high_hz], "bandpass", fs=RATE_HZ, output="sos"), noise)
    return np.asarray(band * np.exp(-6.9078 / t60_s * np.arange(count) / RATE_HZ))


def struck(body: Signal, hits: list[tuple[float, float]], frames: int, contact_s: float) -> Signal:
    """`body` set off by hits (time in s, strength 0..1); harder hits are shorter and so brighter."""
    force = np.zeros(frames)
    for at_s, strength in hits:
        push = blow(contact_s * (1.35 - 0.6 * strength)) * strength
        first = round(at_s * RATE_HZ)
        stop = min(frames, first + len(push))
        if first < frames:
            force[first:stop] += push[: stop - first]
    return np.asarray(fftconvolve(force, body)[:frames])


def at_peak(body: Signal, contact_s: float, peak: float) -> Signal:
    """`body` scaled so that a full blow of `contact_s` gives a pressure of `peak`."""
    return body * (peak / np.abs(struck(body, [(0.0, 1.0)], len(body), contact_s)).max())
