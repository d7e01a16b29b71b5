"""What editing, converters and coders leave behind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
from scipy import signal
from tests.material.families.apart import material
from tests.material.families.events import SNR, inside, microphones, room_for
from tests.material.sounds import Rng, Samples, add, impulse
from tests.material.space import Source, hear
from tests.material.take import Lane, one_source, practice, with_noise


def recorded(
    rng: Rng, fs: int, level: int, y: Samples, count: Sequence[int] = (2, 5), reach: float = 2.0
) -> list[Lane]:
    room = room_for(rng, level)
    place = inside(rng, room)
    mics = microphones(rng, fs, room, place, int(rng.integers(*count)), reach)
    heard = hear(rng, [Source("it", place, y)], mics, room, fs)
    return one_source(rng, with_noise(rng, heard, fs, float(rng.uniform(*SNR[level])) + 5), place, mics, fs)


def some_material(rng: Rng, fs: int, seconds: float) -> Samples:
    return material(rng, fs, int(seconds * fs), str(rng.choice(["drums", "speech", "music"])))


@practice("edit", "inside_attack", "one_inside_attack")
def inside_attack(rng: Rng, fs: int, level: int, which: str) -> tuple[list[Lane], dict[str, Any]]:
    """A region cut after a stroke began: every lane, or one, begins inside the attack."""
    y = np.zeros(int(6 * fs))
    kind = str(rng.choice(["stroke", "note", "clap"]))
    at = float(rng.uniform(0.3, 0.5))
    first = int(at * fs)
    while at < 5.0 / level:
        add(y, impulse(rng, fs, kind), int(at * fs), float(10 ** (rng.uniform(-6, 0) / 20)))
        at += float(rng.uniform(0.4, 1.1))
    lanes = recorded(rng, fs, level, y)
    late = first + int(rng.uniform(0.001, 0.012) * fs)
    out = []
    for k, lane in enumerate(lanes):
        here = which == "inside_attack" or k == len(lanes) - 1
        assert lane.offset is not None
        shift = 0 if which == "inside_attack" else (late if here else 0)
        out.append(replace(lane, samples=lane.samples[late if here else 0 :], offset=lane.offset - shift))
    return out, {}


@practice("edit", "clipped")
def clipped(rng: Rng, fs: int, level: int, _: str) -> tuple[list[Lane], dict[str, Any]]:
    """Some lanes overloaded by 6 to 18 dB."""
    lanes = recorded(rng, fs, level, some_material(rng, fs, rng.uniform(5, 8)))
    out = []
    for lane in lanes:
        over = 10 ** (rng.uniform(2, 6 * level) / 20) if rng.random() < 0.7 else 1.0
        out.append(
            replace(lane, samples=np.clip(lane.samples / np.max(np.abs(lane.samples)) * over, -0.999, 0.999))
        )
    return out, {}


def lossy(x: Samples, fs: int, ceiling: float, bits: float) -> Samples:
    """Like a transform coder: each sixth of an octave of a window with its own coarse step; a ceiling."""
    f, _, z = signal.stft(x, fs, "hann", 2048, 1024)
    edges = np.unique(np.searchsorted(f, np.concatenate([[0], 100 * 2 ** (np.arange(0, 48) / 6), [fs]])))
    for lo, hi in pairwise(edges):
        step = np.max(np.abs(z[lo:hi]), axis=0, keepdims=True) / bits + 1e-12
        z[lo:hi] = step * (np.round(z[lo:hi].real / step) + 1j * np.round(z[lo:hi].imag / step))
    z[f > ceiling] = 0
    y = signal.istft(z, fs, "hann", 2048, 1024)[1]
    return np.resize(np.pad(y, (0, max(0, x.size - y.size))), x.size)


@practice("edit", "lossy")
def coded(rng: Rng, fs: int, level: int, _: str) -> tuple[list[Lane], dict[str, Any]]:
    """Every lane but the first went through a lossy coder, with its delay."""
    lanes = recorded(rng, fs, level, some_material(rng, fs, rng.uniform(5, 8)))
    out = [lanes[0]]
    ceiling, bits = {1: (16000.0, 8.0), 2: (11000.0, 4.0), 3: (7000.0, 2.0)}[level]
    for lane in lanes[1:]:
        late = int(rng.choice([0, 529, 1105, 2112]))
        y = lossy(lane.samples, fs, ceiling, bits)
        y = np.concatenate([np.zeros(late), y])[: y.size]
        assert lane.offset is not None
        out.append(replace(lane, samples=y, offset=lane.offset + late))
    return out, {}


@practice("edit", "formats")
def formats(rng: Rng, fs: int, level: int, _: str) -> tuple[list[Lane], dict[str, Any]]:
    """8, 16, 24 bits and floats beside each other; floats above full scale."""
    lanes = recorded(rng, fs, level, some_material(rng, fs, rng.uniform(5, 8)), (3, 6))
    kinds = ["PCM_16", "PCM_24", "PCM_32", "FLOAT", "PCM_U8"]
    out = []
    for lane in lanes:
        kind = str(rng.choice(kinds))
        gain = 3.0 if kind == "FLOAT" and rng.random() < 0.5 else 1.0
        samples = lane.samples * gain
        if kind in ("PCM_16", "PCM_U8"):
            step = 2.0**-15 if kind == "PCM_16" else 2.0**-7
            samples = np.clip(np.round(samples / step), -1 / step, 1 / step - 1) * step
        out.append(replace(lane, samples=samples, subtype=kind))
    return out, {}


@practice("edit", "levels")
def levels(rng: Rng, fs: int, level: int, _: str) -> tuple[list[Lane], dict[str, Any]]:
    """Lanes 30 dB and more apart."""
    lanes = recorded(rng, fs, level, some_material(rng, fs, rng.uniform(5, 8)), (3, 6), 4.0)
    gains = [0.0, -30.0, *rng.uniform(-45, -10, len(lanes))]
    return [replace(x, samples=x.samples * 10 ** (g / 20)) for x, g in zip(lanes, gains, strict=False)], {}


@practice("edit", "gated")
def gated(rng: Rng, fs: int, level: int, _: str) -> tuple[list[Lane], dict[str, Any]]:
    """One lane went through a noise gate with a look-ahead of 0 to 5 ms: digital silence between sounds."""
    lanes = recorded(rng, fs, level, some_material(rng, fs, rng.uniform(5, 8)))
    x = lanes[-1].samples
    follow = signal.lfilter([1 - 0.999], [1, -0.999], np.abs(x))
    ahead = int(rng.uniform(0, 0.005) * fs)
    open_ = np.roll(follow, -ahead) > 0.15 * np.max(follow)
    shape = signal.lfilter([0.05], [1, -0.95], open_.astype(float))
    shape[shape < 1e-3] = 0
    return [*lanes[:-1], replace(lanes[-1], samples=x * shape)], {}
