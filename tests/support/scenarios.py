"""Made-up takes of known truth, family by family. Tuning and reporting use different seeds."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import pyroomacoustics
from numpy.typing import NDArray
from tests.support import scenario_sounds as sounds

RATE = 48_000
TUNING_SEED, REPORTING_SEEDS = 1_000, (77_000, 78_000)
SPEED = 343.2  # m/s at 20 degrees C, ISO 9613-1


class Truth(NamedTuple):
    """What is so of a lane against the anchor. `arrivals`: any of them is right; None: nothing in common.

    `polarity` 0: not asked. `drift_ppm` None: not asked. `path` : (lowest, highest) for a source that moves,
    and `course` where it lies at every sample, shape (frames,).
    """

    arrivals: tuple[float, ...] | None
    polarity: int = 0
    drift_ppm: float | None = None
    path: tuple[float, float] | None = None
    course: NDArray[np.float64] | None = None


class Scenario(NamedTuple):
    name: str
    family: str
    anchor: str
    lanes: dict[str, NDArray[np.float64]]
    truth: dict[str, Truth]
    rate_hz: int = RATE


Maker = Callable[[np.random.Generator, str], Scenario]


def _delay(rng: np.random.Generator, most: float = 1500.0) -> float:
    return float(rng.uniform(-most, most))


def _sign(rng: np.random.Generator) -> int:
    return 1 if rng.random() < 0.5 else -1


def _pair(name: str, family: str, a: NDArray[np.float64], b: NDArray[np.float64], truth: Truth) -> Scenario:
    return Scenario(name, family, "a", {"a": a, "b": b}, {"b": truth})


def plain(rng: np.random.Generator, name: str) -> Scenario:
    dry = sounds.any_music(12.0, RATE, rng)
    delay, sign = _delay(rng), _sign(rng)
    ratio = float(rng.uniform(0, 40))
    a = sounds.with_noise(dry, ratio, rng)
    b = sounds.with_noise(sign * rng.uniform(0.2, 1) * sounds.delayed(dry, delay), ratio, rng)
    return _pair(name, "plain", a, b, Truth((delay,), sign))


def coloured(rng: np.random.Generator, name: str) -> Scenario:
    dry = sounds.any_music(12.0, RATE, rng)
    delay, sign = _delay(rng), _sign(rng)
    if rng.random() < 0.35:
        a = dry
        b = sounds.cabinet(sounds.delayed(dry, delay), RATE, rng)
    else:
        a = sounds.coloured(dry, RATE, rng)
        b = sounds.coloured(sounds.delayed(dry, delay), RATE, rng)
    ratio = float(rng.uniform(25, 50))
    return _pair(
        name,
        "coloured",
        sounds.with_noise(a, ratio, rng),
        sounds.with_noise(sign * b, ratio, rng),
        Truth((delay,), sign),
    )


def coloured_bass(rng: np.random.Generator, name: str) -> Scenario:
    dry = sounds.bass(12.0, RATE, rng)
    delay, sign = _delay(rng, 600), _sign(rng)
    a = sounds.coloured(dry, RATE, rng, strength=0.7)
    b = sounds.coloured(sounds.delayed(dry, delay), RATE, rng, strength=0.7)
    return _pair(
        name,
        "coloured bass",
        sounds.with_noise(a, 45, rng),
        sounds.with_noise(sign * b, 45, rng),
        Truth((delay,), sign),
    )


def _room(
    rng: np.random.Generator,
    sources: list[NDArray[np.float64]],
    places: NDArray[np.float64],
    mics: NDArray[np.float64],
    size: NDArray[np.float64],
    decay_s: float,
) -> NDArray[np.float64]:
    """What the microphones hear, shape (mics, frames)."""
    absorption, order = pyroomacoustics.inverse_sabine(decay_s, size)
    room = pyroomacoustics.ShoeBox(
        size, fs=RATE, materials=pyroomacoustics.Material(absorption), max_order=min(order, 14)
    )
    room.set_sound_speed(SPEED)
    for sound, place in zip(sources, places, strict=True):
        room.add_source(place, signal=sound)
    room.add_microphone_array(mics.T)
    room.simulate()
    return np.asarray(room.mic_array.signals)[:, : len(sources[0])]


def rooms(rng: np.random.Generator, name: str) -> Scenario:
    dry = sounds.any_music(10.0, RATE, rng)
    size = np.array([rng.uniform(5, 9), rng.uniform(4, 7), rng.uniform(2.6, 3.6)])
    source = size * rng.uniform(0.3, 0.7, 3)
    near = source + _direction(rng) * rng.uniform(0.15, 0.5)
    far = _inside(source + _direction(rng) * rng.uniform(1.0, 3.5), size)
    heard = _room(rng, [dry], source[None], np.array([near, far]), size, float(rng.uniform(0.2, 0.7)))
    delay = (np.linalg.norm(far - source) - np.linalg.norm(near - source)) / SPEED * RATE
    sign = _sign(rng)
    a = sounds.with_noise(heard[0], 50, rng)
    b = sounds.with_noise(sign * heard[1], float(rng.uniform(25, 45)), rng)
    return _pair(name, "rooms", a, b, Truth((float(delay),), sign))


def periodic(rng: np.random.Generator, name: str) -> Scenario:
    make = sounds.sustained if rng.random() < 0.6 else sounds.looped
    dry = make(12.0, RATE, rng)
    delay, sign = _delay(rng, 800), _sign(rng)
    a = sounds.with_noise(dry, 45, rng)
    b = sounds.with_noise(sign * sounds.delayed(dry, delay), 45, rng)
    return _pair(name, "periodic", a, b, Truth((delay,), sign))


def trouble(rng: np.random.Generator, name: str) -> Scenario:
    """Bleed, hum, clipping, unequal lengths, stereo."""
    kind = int(rng.integers(0, 5))
    dry = sounds.any_music(12.0, RATE, rng)
    delay, sign = _delay(rng, 800), _sign(rng)
    a, b = dry.copy(), sign * sounds.delayed(dry, delay)
    if kind == 0:
        other = sounds.any_music(12.0, RATE, rng)
        other *= np.sqrt(np.mean(dry**2) / np.mean(other**2))
        a = a + 10 ** (-rng.uniform(14, 20) / 20) * sounds.delayed(other, 200)
        b = b + 10 ** (-rng.uniform(3, 12) / 20) * other
    elif kind == 1:
        shared = 0.02 * sounds.hum(12.0, RATE, rng, mains_hz=float(rng.choice([50.0, 60.0])))
        a, b = a + shared, b + rng.uniform(0.3, 1) * shared
    elif kind == 2:
        a = np.clip(a, -0.25 * np.abs(a).max(), 0.25 * np.abs(a).max())
    elif kind == 3:
        b = b[: round(rng.uniform(5, 9) * RATE)]
    else:
        right = sounds.coloured(sounds.delayed(dry, delay + 6.5), RATE, rng, strength=0.3)
        lanes = {"a": sounds.with_noise(a, 45, rng), "b": sounds.with_noise(b, 45, rng)}
        lanes["c"] = sounds.with_noise(right, 45, rng)
        return Scenario(
            name, "trouble", "a", lanes, {"b": Truth((delay,), sign), "c": Truth((delay + 6.5,), 1)}
        )
    return _pair(
        name, "trouble", sounds.with_noise(a, 45, rng), sounds.with_noise(b, 45, rng), Truth((delay,), sign)
    )


def nothing(rng: np.random.Generator, name: str) -> Scenario:
    """Nothing in common, silence, hum only."""
    kind = int(rng.integers(0, 6))
    a = sounds.with_noise(sounds.any_music(12.0, RATE, rng), 50, rng)
    if kind == 0:
        b = np.zeros(len(a))
    elif kind == 1:
        shared = sounds.hum(12.0, RATE, rng)
        a = 0.05 * shared + 0.001 * rng.standard_normal(len(a))
        b = 0.03 * shared + 0.001 * rng.standard_normal(len(a))
    elif kind == 2:
        b = sounds.with_noise(sounds.sustained(12.0, RATE, rng), 50, rng)
        a = sounds.with_noise(sounds.sustained(12.0, RATE, rng), 50, rng)
    elif kind == 3:
        b = 0.01 * rng.standard_normal(len(a))
    else:
        b = sounds.with_noise(sounds.any_music(12.0, RATE, rng), 50, rng)
    return _pair(name, "nothing", a, b, Truth(None))


def drift(rng: np.random.Generator, name: str) -> Scenario:
    seconds = 24.0
    dry = sounds.any_music(seconds, RATE, rng)
    ppm = float(rng.uniform(5, 100)) * _sign(rng)
    start = float(rng.uniform(0.5, 5)) * RATE * _sign(rng)
    sign = _sign(rng)
    t = np.arange(len(dry) - int(abs(start)))
    # The lane hears at its own time t what the anchor hears at (t - start) / (1 + ppm / 1e6).
    b = sign * sounds.warped(dry, (t - start) / (1 + ppm * 1e-6))
    a = sounds.with_noise(dry, 45, rng)
    return _pair(name, "drift", a, sounds.with_noise(b, 45, rng), Truth((start,), sign, drift_ppm=ppm))


def movement(rng: np.random.Generator, name: str) -> Scenario:
    seconds = 18.0
    dry = sounds.any_music(seconds, RATE, rng)
    count = len(dry)
    middle, reach = _delay(rng, 500), float(rng.uniform(10, 60))
    t = np.arange(count) / count
    if rng.random() < 0.5:
        path = middle + reach * np.sin(2 * np.pi * rng.uniform(0.5, 1.5) * t + rng.uniform(0, 6))
    else:
        path = middle + reach * (t > rng.uniform(0.35, 0.65))
    sign = _sign(rng)
    b = sign * sounds.warped(dry, np.arange(count) - path)
    return _pair(
        name,
        "movement",
        sounds.with_noise(dry, 45, rng),
        sounds.with_noise(b, 45, rng),
        Truth((middle,), sign, path=(float(path.min()), float(path.max())), course=path),
    )


def rotated(rng: np.random.Generator, name: str) -> Scenario:
    dry = sounds.any_music(12.0, RATE, rng)
    delay = _delay(rng, 800)
    degrees = float(rng.uniform(60, 120)) * _sign(rng)
    b = sounds.turned(sounds.delayed(dry, delay), degrees)
    return _pair(
        name, "rotated", sounds.with_noise(dry, 45, rng), sounds.with_noise(b, 45, rng), Truth((delay,), 2)
    )


def kit(rng: np.random.Generator, name: str) -> Scenario:
    """A kit in a room: spot microphones, two overheads, a room microphone; the anchor is an overhead."""
    seconds = 10.0
    size = np.array([rng.uniform(5, 8), rng.uniform(4.5, 7), rng.uniform(2.8, 3.6)])
    centre = size * np.array([0.5, 0.45, 0.0])
    places = {
        "kick": centre + np.array([0.0, 0.2, 0.35]),
        "snare": centre + np.array([-0.35, -0.1, 0.7]),
        "hat": centre + np.array([-0.65, 0.05, 0.9]),
        "tom": centre + np.array([0.4, 0.0, 0.75]),
    }
    dry = {
        "kick": sounds.strokes(seconds, RATE, rng, every_s=0.55, tone_hz=58, decay_s=0.05),
        "snare": 0.8 * sounds.strokes(seconds, RATE, rng, every_s=0.9, tone_hz=190, decay_s=0.06),
        "hat": 0.25 * sounds.strokes(seconds, RATE, rng, every_s=0.3, tone_hz=900, decay_s=0.03),
        "tom": 0.6 * sounds.strokes(seconds, RATE, rng, every_s=1.7, tone_hz=110, decay_s=0.12),
    }
    mics = {
        f"{k}_spot": p + rng.uniform([-0.03, -0.08, 0.03], [0.03, -0.04, 0.06]) for k, p in places.items()
    }
    mics["over_l"] = centre + np.array([-0.6 + rng.uniform(-0.1, 0.1), -0.1, 1.9])
    mics["over_r"] = centre + np.array([0.6 + rng.uniform(-0.1, 0.1), -0.1, 1.9])
    mics["room"] = _inside(centre + np.array([rng.uniform(-1, 1), rng.uniform(1.6, 2.8), 1.4]), size)
    heard = _room(
        rng,
        list(dry.values()),
        np.array(list(places.values())),
        np.array(list(mics.values())),
        size,
        float(rng.uniform(0.2, 0.45)),
    )
    signs = {k: _sign(rng) if k.endswith("spot") else 1 for k in mics}
    lanes = {k: signs[k] * sounds.with_noise(x, 55, rng) for k, x in zip(mics, heard, strict=True)}

    def way(source: str, mic: str) -> float:
        return float(np.linalg.norm(places[source] - mics[mic]) / SPEED * RATE)

    anchor = "over_l"
    truth: dict[str, Truth] = {}
    for mic in mics:
        if mic == anchor:
            continue
        own = [mic.removesuffix("_spot")] if mic.endswith("spot") else list(places)
        truth[mic] = Truth(tuple(way(s, mic) - way(s, anchor) for s in own), signs[mic] * signs[anchor])
    return Scenario(name, "kits", anchor, lanes, truth)


FAMILIES: dict[str, Maker] = {
    "plain": plain,
    "coloured": coloured,
    "coloured bass": coloured_bass,
    "rooms": rooms,
    "periodic": periodic,
    "trouble": trouble,
    "nothing": nothing,
    "drift": drift,
    "movement": movement,
    "rotated": rotated,
    "kits": kit,
}


def scenario(family: str, number: int, base_seed: int) -> Scenario:
    """The same take for the same arguments, on any machine."""
    rng = np.random.default_rng([base_seed, list(FAMILIES).index(family), number])
    return FAMILIES[family](rng, f"{family} {number}")


def _direction(rng: np.random.Generator) -> NDArray[np.float64]:
    way = rng.standard_normal(3) * np.array([1, 1, 0.4])
    return way / np.linalg.norm(way)


def _inside(place: NDArray[np.float64], size: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.clip(place, 0.3, size - 0.3)
